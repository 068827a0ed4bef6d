import { type Instant, type Milliseconds, milliseconds } from './instant.ts'

/** When something happened, as a person remembers it: not before `earliest`, not after `latest` (both inclusive). */
export interface Between {
  readonly earliest: Instant
  readonly latest: Instant
}

/** How long something may have been or may take: at least `atLeast`, at most `atMost` (both inclusive). */
export interface Span {
  readonly atLeast: Milliseconds
  readonly atMost: Milliseconds
}

/** How long ago `when` was, seen from `at`: the shortest and the longest it can have been. */
export function since(when: Between, at: Instant): Span {
  return {
    atLeast: milliseconds(Math.max(0, at - when.latest)),
    atMost: milliseconds(Math.max(0, at - when.earliest)),
  }
}
