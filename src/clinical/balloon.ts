import type { Millilitres } from './quantities.ts'
import type { Thresholds } from './thresholds.ts'

/** One check of the balloon: the water that had been put in, and what came out. */
export interface BalloonCheck {
  readonly putIn: Millilitres
  readonly cameOut: Millilitres
}

/**
 * - `none-came-out`: burst or stuck, it cannot be told which: tape, nobody pulls, cuts or tops up.
 * - `loss`: more was lost than the clinic allows, at the latest check.
 * - `falling`: less came out than was put in at two checks running, however little.
 * - `gain`: more came out than was put in: a slip in one of the two volumes, or stomach fluid. Not a balloon that holds.
 * - `holds`, `not-checked`.
 */
export type BalloonTrend = 'not-checked' | 'holds' | 'loss' | 'falling' | 'none-came-out' | 'gain'

/** Syringes are read to a tenth of a millilitre; a hundredth is kept so that 5 − 4.5 is a half and no more. */
const toHundredth = (millilitres: number): number => Math.round(millilitres * 100) / 100

/** Water lost at one check, in mL; negative when more came out than was put in. */
export function balloonLoss({ putIn, cameOut }: BalloonCheck): number {
  return toHundredth(putIn - cameOut)
}

/**
 * What the checks say, oldest first. More than 0.5 mL (strictly) less than was put in: Practice note on changing balloon
 * G tubes; Hospital for Sick Children, Toronto, Connected Care; current copy. Lower at two checks running: common
 * practice, no source.
 */
export function balloonTrend(
  checks: readonly BalloonCheck[],
  thresholds: Pick<Thresholds, 'balloon-loss-ml'>,
): BalloonTrend {
  const latest = checks.at(-1)
  if (latest === undefined) return 'not-checked'
  if (latest.cameOut === 0) return 'none-came-out'
  const loss = balloonLoss(latest)
  if (loss > thresholds['balloon-loss-ml']) return 'loss'
  const earlier = checks.at(-2)
  if (loss > 0 && earlier !== undefined && balloonLoss(earlier) > 0) return 'falling'
  return loss < 0 ? 'gain' : 'holds'
}

/** What one check says of the balloon; a loss above none and not above the clinic's limit is `small-loss`. */
export function balloonLossOf(
  check: BalloonCheck,
  thresholds: Pick<Thresholds, 'balloon-loss-ml'>,
): 'holds' | 'small-loss' | 'loss' | 'none-came-out' | 'gain' {
  const trend = balloonTrend([check], thresholds)
  if (trend === 'loss' || trend === 'gain' || trend === 'none-came-out') return trend
  return balloonLoss(check) > 0 ? 'small-loss' : 'holds'
}
