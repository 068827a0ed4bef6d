import { Z_95 } from './proportion.ts'

/** How long something took, or how long it had been waited for when it was last looked at. */
export interface Waited {
  /** Zero or more, in whatever unit the caller counts. */
  readonly time: number
  /** True where it happened; false where it had not happened yet when the watching ended. */
  readonly happened: boolean
}

/** The curve after one instant at which it happened to somebody. */
export interface CurveStep {
  readonly time: number
  /** Still waiting just before it. */
  readonly atRisk: number
  readonly happened: number
  /** Share still waiting after it. */
  readonly waiting: number
  /** Greenwood's. */
  readonly standardError: number
  /** 95 of 100, plain, held between 0 and 1. */
  readonly low: number
  readonly high: number
}

/**
 * The share still waiting by time, where some are still open: the product-limit estimate with Greenwood's standard error.
 * Those still waiting at a time at which it happened to others count as having waited through it.
 *
 * Source: E. L. Kaplan, P. Meier 1958, J Am Stat Assoc 53:457-481; M. Greenwood 1926.
 */
export function waitingCurve(all: readonly Waited[]): readonly CurveStep[] {
  const sorted = [...all].sort((a, b) => a.time - b.time)
  const steps: CurveStep[] = []
  let waiting = 1
  let sum = 0
  for (let at = 0; at < sorted.length; ) {
    const time = sorted[at]?.time ?? 0
    const atRisk = sorted.length - at
    let happened = 0
    for (; at < sorted.length && sorted[at]?.time === time; at++) if (sorted[at]?.happened === true) happened++
    if (happened === 0) continue
    waiting *= 1 - happened / atRisk
    sum += happened / (atRisk * (atRisk - happened))
    const standardError = waiting === 0 ? 0 : waiting * Math.sqrt(sum)
    steps.push({
      ...{ time, atRisk, happened, waiting, standardError },
      low: Math.max(0, waiting - Z_95 * standardError),
      high: Math.min(1, waiting + Z_95 * standardError),
    })
  }
  return steps
}

/**
 * The time within which it had happened to a share of all, 0 to 1: the first at which no more than the rest still waited.
 * Undefined where the curve never comes down so far: too many are still open to say.
 */
export function timeWithin(curve: readonly CurveStep[], share: number): number | undefined {
  // A product of fractions is off by a last digit: 0.5 must count as 0.5.
  return curve.find(({ waiting }) => waiting <= 1 - share + 1e-12)?.time
}

export interface WaitingFigures {
  readonly cases: number
  /** How many of them it has not happened to. */
  readonly open: number
  /** Undefined where too many are open. */
  readonly median: number | undefined
  readonly p90: number | undefined
  readonly longest: number | undefined
}

export function waitingFigures(all: readonly Waited[]): WaitingFigures {
  const curve = waitingCurve(all)
  return {
    cases: all.length,
    open: all.filter(({ happened }) => !happened).length,
    median: timeWithin(curve, 0.5),
    p90: timeWithin(curve, 0.9),
    longest: curve.at(-1)?.time,
  }
}
