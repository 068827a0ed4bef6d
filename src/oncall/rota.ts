import type { Instant } from '../time/instant.ts'
import { type Clinic, type Desk, type Person, reachableOf } from './clinic.ts'
import type { Duty } from './duty.ts'
import { type Stretch, stretchAt, stretches } from './timeline.ts'

/** Who is on call, and when nobody is. */

/** Ids of the roles in the rota, in the order of the file. */
export const rolesOf = (clinic: Clinic): readonly string[] => Object.keys(clinic.rota.roles)

/** The duty in force for a role at an instant, or undefined where nobody is. */
export function dutyAt(clinic: Clinic, role: string, at: Instant): Duty | undefined {
  return stretchAt(clinic, role, at).duty
}

/** Who is on call in a role at an instant; undefined where nobody is, or where the rota names somebody unknown. */
export function onCallAt(clinic: Clinic, role: string, at: Instant): Person | Desk | undefined {
  const duty = dutyAt(clinic, role, at)
  return duty === undefined ? undefined : reachableOf(clinic, duty.who)
}

/** Stretches of [from, until) in which a role has nobody; all roles unless some are named. */
export function gaps(
  clinic: Clinic,
  from: Instant,
  until: Instant,
  roles: readonly string[] = rolesOf(clinic),
): readonly Stretch[] {
  return roles.flatMap(role => stretches(clinic, role, from, until).filter(stretch => stretch.duty === undefined))
}
