import type { Milliseconds } from '../time/instant.ts'

/**
 * The figures a clinic may change, by their setting ids. Shipped values are the cautious choice among published ones and
 * are no approved clinical content: a clinic must review them. A source is named beside the rule that uses a figure.
 */
export interface Thresholds {
  /** A tract older than this may count as settled (strictly older). */
  readonly 'tract-settled-after': Milliseconds
  /** Whether a clinician must also have done the first change. */
  readonly 'tract-settled-needs-change': 'yes' | 'no'
  /** Younger than this (strictly) is "first days". */
  readonly 'first-days': Milliseconds
  /** The opening may begin to close this long after the tube came out. */
  readonly 'closure-soonest': Milliseconds
  /** A tube should be back by then. */
  readonly 'closure-latest': Milliseconds
  /** From then on the clinician is told that it is overdue. */
  readonly 'closure-overdue': Milliseconds
  readonly 'home-replacement': 'on' | 'off'
  readonly 'hold-open-settled': 'on' | 'off'
  readonly 'hold-open-new': 'on' | 'off'
  readonly 'family-ph': 'on' | 'off'
  /** Highest pH that confirms (inclusive). */
  readonly 'ph-at-most': number
  /** Loss of balloon water, in mL, above which (strictly) it counts. */
  readonly 'balloon-loss-ml': number
  readonly 'device-change-due': CalendarLength
  /** Least and most warm water for one flush, in mL. */
  readonly 'flush-ml': readonly [number, number]
  /** Between a flush that did not clear the tube and the one other try. */
  readonly 'flush-wait': Milliseconds
  /** °C, inclusive. */
  readonly 'fever-under-3-months': number
  /** °C, inclusive. */
  readonly 'fever-3-to-6-months': number
  /** Inclusive. */
  readonly 'no-urine-page': Milliseconds
  /** Inclusive. */
  readonly 'no-urine-hospital': Milliseconds
  /** Ambulance and set-out: page again, next person, last person and family told. */
  readonly 'ladder-urgent': readonly [Milliseconds, Milliseconds, Milliseconds]
  /** Speak: the same three. */
  readonly 'ladder-speak': readonly [Milliseconds, Milliseconds, Milliseconds]
  readonly 'asked-again-after': Milliseconds
  readonly 'left-check': Milliseconds
  readonly 'left-silent': Milliseconds
  readonly 'arrival-grace': Milliseconds
  readonly 'promise-grace': Milliseconds
}

/** A length on the calendar; months have no fixed length. */
export interface CalendarLength {
  readonly months: number
  readonly days: number
}
