import type { Instant, Milliseconds } from '../time/instant.ts'
import { type Clinic, type PageAddress, type Rung, reachableOf, type When } from './clinic.ts'
import { unreachableBecause } from './coverage.ts'
import { isOpen } from './opening.ts'
import { onCallAt } from './rota.ts'
import { isMinuteWithin, wallTimeAt } from './wall-time.ts'

/** A person or desk the ladder comes to. `pageAt` is private. */
export interface Reached {
  /** Position in the clinic's ladder, from 0. */
  readonly rung: number
  readonly kind: 'person' | 'desk'
  readonly id: string
  readonly name: string
  /** The rota role through which they were found, where the rung names one. */
  readonly role?: string
  /** What to say to whoever answers at a desk. */
  readonly words?: string
  readonly pageAt: readonly PageAddress[]
}

/** A rung that is in use at the moment and leads to nobody. */
export interface RungMissed {
  readonly rung: number
  readonly because: 'nobody-on-call' | 'unknown-id' | 'has-left' | 'no-address'
}

/** Whether a rung limited to some hours is in use at an instant. */
export function isInUse(clinic: Clinic, when: When, at: Instant): boolean {
  switch (when.kind) {
    case 'always':
      return true
    case 'open':
      return isOpen(clinic, at)
    case 'closed':
      return !isOpen(clinic, at)
    case 'between':
      return isMinuteWithin(wallTimeAt(clinic.zone, at).minute, when.from, when.to)
  }
}

/**
 * Who is paged, in order, for a case that begins to page at `at`. Rungs out of hours are passed over; one who would
 * follow directly on themselves is not paged twice; rungs that lead to nobody are left out and told by `rungsMissedAt`.
 * Empty only where nobody at all can be reached: the family is then told so at once.
 */
export function rungsAt(clinic: Clinic, at: Instant): readonly Reached[] {
  const found = climbed(clinic, at).flatMap(step => ('because' in step ? [] : [step]))
  return found.filter((reached, index) => found[index - 1]?.id !== reached.id)
}

/**
 * Ids of everybody who could answer a family, on call or not: clinicians who are there and desks, where they can be paged. For
 * the one case that the ladder leads to nobody.
 */
export function anybodyAt({ people, desks }: Pick<Clinic, 'people' | 'desks'>): readonly string[] {
  const clinicians = people.filter(({ clinician }) => clinician)
  return [...desks, ...clinicians].filter(one => unreachableBecause(one) === undefined).map(({ id }) => id)
}

/** The rungs in use at an instant that lead to nobody, and why. */
export function rungsMissedAt(clinic: Clinic, at: Instant): readonly RungMissed[] {
  return climbed(clinic, at).flatMap(step => ('because' in step ? [step] : []))
}

function climbed(clinic: Clinic, at: Instant): readonly (Reached | RungMissed)[] {
  return clinic.ladder.flatMap((rung, index) =>
    isInUse(clinic, rung.when, at) ? [reachedBy(clinic, rung, index, at)] : [],
  )
}

function reachedBy(clinic: Clinic, rung: Rung, index: number, at: Instant): Reached | RungMissed {
  const who = rung.kind === 'role' ? onCallAt(clinic, rung.role, at) : reachableOf(clinic, rung.id)
  if (who === undefined) return { rung: index, because: rung.kind === 'role' ? 'nobody-on-call' : 'unknown-id' }
  const because = unreachableBecause(who)
  if (because !== undefined) return { rung: index, because }
  return {
    rung: index,
    kind: who.kind,
    id: who.id,
    name: who.name,
    ...(rung.kind === 'role' ? { role: rung.role } : {}),
    ...(who.kind === 'desk' && who.words !== undefined ? { words: who.words } : {}),
    pageAt: who.pageAt,
  }
}

/** Three lengths from the start of paging: repeat, next rung, last rung with the family told; never falling. */
export type LadderSteps = readonly [repeat: Milliseconds, next: Milliseconds, last: Milliseconds]

/** The clinic settings the ladder reads. */
export interface LadderSettings {
  readonly 'ladder-urgent': LadderSteps
  readonly 'ladder-speak': LadderSteps
}

/** Lengths counted from the first page of a call-out, unless it is acknowledged before. */
export interface LadderTimes {
  /** The same person is paged again. */
  readonly repeatAfter: Milliseconds
  /** The next person is paged. */
  readonly nextAfter: Milliseconds
  /** The last rung has been paged and the family is told that no one has answered, by this time. */
  readonly lastAfter: Milliseconds
}

/** The ladder's times by urgency: an ambulance and a journey share the quicker steps. */
export function ladderTimes(urgency: 'ambulance' | 'set-out' | 'speak', settings: LadderSettings): LadderTimes {
  const [repeatAfter, nextAfter, lastAfter] = settings[urgency === 'speak' ? 'ladder-speak' : 'ladder-urgent']
  return { repeatAfter, nextAfter, lastAfter }
}
