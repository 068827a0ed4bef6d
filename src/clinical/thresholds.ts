import type { Milliseconds } from '../time/instant.ts'

/** The clinic's settings that a case reads. Ids are those of clinic.yaml; lengths of time in milliseconds. */
export interface Thresholds {
  /** A tract counts as settled when it is older than this (and changed before, where that is asked). */
  readonly 'tract-settled-after': Milliseconds
  readonly 'tract-settled-needs-change': 'yes' | 'no'
  /** Up to, but not including, this age the tract is in its first days. */
  readonly 'first-days': Milliseconds
  /** How soon, how late at the latest, and from when overdue: all counted from when the tube came out. */
  readonly 'closure-soonest': Milliseconds
  readonly 'closure-latest': Milliseconds
  readonly 'closure-overdue': Milliseconds
  readonly 'home-replacement': 'on' | 'off'
  readonly 'hold-open-settled': 'on' | 'off'
  readonly 'hold-open-new': 'on' | 'off'
  readonly 'family-ph': 'on' | 'off'
  /** pH units; a reading at or below it confirms. */
  readonly 'ph-at-most': number
  /** Repeat, next person, last rung and family told. */
  readonly 'ladder-urgent': readonly [Milliseconds, Milliseconds, Milliseconds]
  readonly 'ladder-speak': readonly [Milliseconds, Milliseconds, Milliseconds]
  readonly 'asked-again-after': Milliseconds
  readonly 'left-check': Milliseconds
  readonly 'left-silent': Milliseconds
  readonly 'arrival-grace': Milliseconds
  readonly 'promise-grace': Milliseconds
}
