import { DISPOSITIONS } from '../flow/document.ts'
import { type Share, shareOf } from './proportion.ts'

type Disposition = (typeof DISPOSITIONS)[number]

/** What the line decided and what the reviewers say it should have decided. */
export interface Judged {
  readonly decided: Disposition
  readonly should: Disposition
}

export interface TriageFigures {
  readonly cases: number
  /** Of those that needed a person at once, the share that was sent to one. */
  readonly sensitivity: Share
  /** Of those that did not, the share that was left at home or told to ring in the morning. */
  readonly specificity: Share
  /** Decided milder than the reviewers would: the dangerous side. */
  readonly under: Share
  /** Of those, milder by two or more steps. */
  readonly farUnder: Share
  readonly over: Share
  readonly exact: Share
}

/** From this on, most urgent first, somebody is paged (domain: `speak` and above). */
const URGENT: readonly Disposition[] = DISPOSITIONS.slice(0, DISPOSITIONS.indexOf('speak') + 1)

/**
 * How the line's dispositions stand against the reviewers'. Nothing is balanced against anything: an under-triage is not made
 * good by an over-triage.
 *
 * Sensitivity and specificity as D. G. Altman, J. M. Bland 1994, BMJ 308:1552; intervals by Wilson.
 */
export function triageFigures(judged: readonly Judged[]): TriageFigures {
  const isUrgent = (one: Disposition) => URGENT.includes(one)
  const rank = (one: Disposition) => DISPOSITIONS.indexOf(one)
  const needed = judged.filter(({ should }) => isUrgent(should))
  const others = judged.filter(({ should }) => !isUrgent(should))
  const among = (all: readonly Judged[], holds: (one: Judged) => boolean) =>
    shareOf(all.filter(holds).length, all.length)
  return {
    cases: judged.length,
    sensitivity: among(needed, ({ decided }) => isUrgent(decided)),
    specificity: among(others, ({ decided }) => !isUrgent(decided)),
    under: among(judged, ({ decided, should }) => rank(decided) > rank(should)),
    farUnder: among(judged, ({ decided, should }) => rank(decided) > rank(should) + 1),
    over: among(judged, ({ decided, should }) => rank(decided) < rank(should)),
    exact: among(judged, ({ decided, should }) => decided === should),
  }
}
