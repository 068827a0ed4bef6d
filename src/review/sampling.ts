import type { CaseSummary } from './case-summary.ts'

/** Why a case is reviewed. */
export const REASONS = ['handed', 'flagged', 'red-flag', 'unanswered', 'abandoned', 'random'] as const
export type Reason = (typeof REASONS)[number]

/**
 * The draw of a month. Everybody with the seed and the list of cases draws the same: a case's lot is the SHA-256 of
 * `SEED:CASE` as hexadecimal digits, and the smallest lots are taken.
 */
export interface Draw {
  /** `2026-03`. */
  readonly month: string
  readonly seed: string
  /** Cases among which was drawn. */
  readonly from: number
  /** Cases drawn at random. */
  readonly size: number
}

export interface Pick {
  readonly caseId: string
  readonly reasons: readonly Reason[]
}

/** At random at least so many a month, or a tenth where that is more (an informal minimum; docs/clinic/reviewing.md). */
export const RANDOM_LEAST = 20
export const RANDOM_SHARE = 0.1

/**
 * What of a month is reviewed: every case that was handed to people because it could not go on, every one that somebody flagged, every
 * danger sign, every page nobody answered, every conversation that was given up, and a random share of all. A case drawn for more than one reason is reviewed once.
 *
 * @param hash  SHA-256 as hexadecimal digits
 */
export function samplingPlan(
  month: string,
  seed: string,
  cases: readonly CaseSummary[],
  hash: (text: string) => string,
  flagged: ReadonlySet<string> = new Set(),
): { readonly draw: Draw; readonly picks: readonly Pick[] } {
  const own = cases.filter(one => one.month === month && one.closed)
  const size = Math.min(own.length, Math.max(RANDOM_LEAST, Math.ceil(own.length * RANDOM_SHARE)))
  const lots = own.map(({ caseId }) => ({ caseId, lot: hash(`${seed}:${caseId}`) }))
  const drawn = new Set(
    lots
      .sort((a, b) => (a.lot < b.lot ? -1 : 1))
      .slice(0, size)
      .map(({ caseId }) => caseId),
  )
  const picks = own
    .map(one => ({ caseId: one.caseId, reasons: reasonsOf(one, drawn.has(one.caseId), flagged.has(one.caseId)) }))
    .filter(({ reasons }) => reasons.length > 0)
  return { draw: { month, seed, from: own.length, size }, picks }
}

function reasonsOf(
  { isHanded, isRedFlag, isUnanswered, abandonedAt }: CaseSummary,
  isDrawn: boolean,
  isFlagged: boolean,
): readonly Reason[] {
  const holds: Readonly<Record<Reason, boolean>> = {
    handed: isHanded === true,
    flagged: isFlagged,
    'red-flag': isRedFlag,
    unanswered: isUnanswered,
    abandoned: abandonedAt !== undefined,
    random: isDrawn,
  }
  return REASONS.filter(reason => holds[reason])
}
