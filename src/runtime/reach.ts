import { type Clinic, type PageAddress, reachableOf } from '../oncall/clinic.ts'
import { rungsAt } from '../oncall/ladder.ts'
import type { Instant } from '../time/instant.ts'

/** Private addresses of a person or desk; none when the clinic's file does not know them. */
export const addressesOf = (clinic: Clinic, who: string): readonly PageAddress[] =>
  reachableOf(clinic, who)?.pageAt ?? []

/** Ids of everybody the ladder comes to at an instant; where that is nobody, of all who have an address at all. */
export function everyoneAt(clinic: Clinic, at: Instant): readonly string[] {
  const onLadder = rungsAt(clinic, at).map(reached => reached.id)
  if (onLadder.length > 0) return [...new Set(onLadder)]
  return [...clinic.people, ...clinic.desks].filter(who => who.pageAt.length > 0).map(who => who.id)
}
