import type { Instant } from '../time/instant.ts'
import { type Clinic, type Desk, type Person, reachableOf } from './clinic.ts'
import { blockEnd, instantsOf, type WallTime, wallTimeAt, weekdayOf } from './wall-time.ts'

/**
 * Who is on call, as instants. Rule for the clock-change nights: cover starts at the earlier instant its wall time may
 * mean and ends at the later one, so that neighbours overlap and never leave a gap. In an overlap the one whose cover
 * started last is on call.
 */

/** Cover by one person or desk from `startsAt` (inclusive) until `endsAt` (exclusive). */
export interface Duty {
  readonly role: string
  /** Id of a person or desk. */
  readonly who: string
  readonly startsAt: Instant
  readonly endsAt: Instant
  /** Weekly rota, or a dated change that stands above it. */
  readonly by: 'shift' | 'change'
  readonly why?: string
}

/** A stretch during which one duty is in force, or none is. */
export interface Stretch {
  readonly role: string
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
  readonly duty: Duty | undefined
}

/** Ids of the roles in the rota, in the order of the file. */
export const rolesOf = (clinic: Clinic): readonly string[] => Object.keys(clinic.rota.roles)

/** Every duty of a role that touches [from, until], shifts first, each group in rising order of precedence. */
export function dutiesBetween(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Duty[] {
  const touches = (duty: Duty) => duty.startsAt <= until && duty.endsAt > from
  const firstDay = wallTimeAt(clinic.zone, from).day - 2
  const lastDay = wallTimeAt(clinic.zone, until).day + 1
  const shifts: Duty[] = []
  for (let day = firstDay; day <= lastDay; day++) {
    const weekday = weekdayOf(day)
    for (const shift of clinic.rota.roles[role] ?? []) {
      if (shift.on !== weekday) continue
      const start = { day, minute: shift.from }
      shifts.push(covered(clinic.zone, role, shift.who, start, blockEnd(day, shift.from, shift.to), 'shift'))
    }
  }
  const changes = clinic.rota.changes
    .filter(change => change.role === role)
    .map(change => covered(clinic.zone, role, change.who, change.from, change.until, 'change', change.why))
  return [...shifts.filter(touches).sort((a, b) => a.startsAt - b.startsAt), ...changes.filter(touches)]
}

function covered(
  zone: string,
  role: string,
  who: string,
  start: WallTime,
  end: WallTime,
  by: Duty['by'],
  why?: string,
): Duty {
  const startsAt = instantsOf(zone, start).earlier
  const endsAt = instantsOf(zone, end).later
  return { role, who, startsAt, endsAt, by, ...(why === undefined ? {} : { why }) }
}

/** The duty in force: the last listed change, else the shift that started last. */
function inForce(duties: readonly Duty[], at: Instant): Duty | undefined {
  return duties.findLast(duty => duty.startsAt <= at && at < duty.endsAt)
}

/** The duty in force for a role at an instant, or undefined where nobody is. */
export function dutyAt(clinic: Clinic, role: string, at: Instant): Duty | undefined {
  return inForce(dutiesBetween(clinic, role, at, at), at)
}

/** Who is on call in a role at an instant; undefined where nobody is, or where the rota names somebody unknown. */
export function onCallAt(clinic: Clinic, role: string, at: Instant): Person | Desk | undefined {
  const duty = dutyAt(clinic, role, at)
  return duty === undefined ? undefined : reachableOf(clinic, duty.who)
}

/** [from, until) cut into stretches of one duty or none, in order, without holes. Empty when `until` is not later. */
export function stretches(clinic: Clinic, role: string, from: Instant, until: Instant): readonly Stretch[] {
  const duties = dutiesBetween(clinic, role, from, until)
  const edges = duties.flatMap(duty => [duty.startsAt, duty.endsAt]).filter(edge => edge > from && edge < until)
  const starts = [...new Set([from, ...edges])].sort((a, b) => a - b)
  const cut: Stretch[] = []
  starts.forEach((start, index) => {
    const end = starts[index + 1] ?? until
    if (end <= start) return
    const duty = inForce(duties, start)
    const last = cut.at(-1)
    if (last !== undefined && last.duty === duty) cut[cut.length - 1] = { ...last, until: end }
    else cut.push({ role, from: start, until: end, duty })
  })
  return cut
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
