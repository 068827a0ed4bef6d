import { before, type Instant, instant, milliseconds } from '../time/instant.ts'
import { type Clinic, reachableOf } from './clinic.ts'
import { rolesOf } from './rota.ts'
import { stretchAt } from './timeline.ts'

/** Somebody's turn that holds at an instant: all that follows on itself without another in between. */
export interface ShiftNow {
  readonly who: string
  readonly role: string
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
}

/** Shifts of one person that follow on one another, at most: then it is asked anew. */
const FOLLOWING_MOST = 14

/** Whose turn it is, each person once, in the order of the roles. A desk is no person, and always there. */
export function shiftsNow(clinic: Clinic, at: Instant): readonly ShiftNow[] {
  const found = rolesOf(clinic).flatMap(role => shiftNow(clinic, role, at) ?? [])
  return found.filter(({ who }, index) => found.findIndex(one => one.who === who) === index)
}

function shiftNow(clinic: Clinic, role: string, at: Instant): ShiftNow | undefined {
  const now = stretchAt(clinic, role, at)
  const who = now.duty?.who
  if (who === undefined || reachableOf(clinic, who)?.kind !== 'person') return undefined
  let { from } = now
  for (let steps = 0; steps < FOLLOWING_MOST; steps += 1) {
    const earlier = stretchAt(clinic, role, before(from, milliseconds(1)))
    if (earlier.duty?.who !== who || earlier.from >= from) break
    from = instant(earlier.from)
  }
  return { who, role, from, until: now.until }
}
