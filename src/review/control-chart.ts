/** One point with the limits that hold for it; limits differ where the points rest on different numbers of cases. */
export interface ChartPoint {
  readonly value: number
  readonly centre: number
  readonly low: number
  readonly high: number
  /** Outside its limits: something other than chance. */
  readonly isSignal: boolean
}

/** A count among how many: what a point of a p or u chart rests on. */
export interface Counted {
  readonly count: number
  readonly of: number
}

const SIGMAS = 3

/**
 * Shares by period: of so many cases, in how many it happened. Limits three standard errors of a binomial share away, held
 * between 0 and 1.
 *
 * Source: W. A. Shewhart's p chart, as in NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
 */
export function pChart(points: readonly Counted[]): readonly ChartPoint[] {
  const centre = overall(points)
  return points.map(({ count, of }) => {
    const reach = SIGMAS * Math.sqrt((centre * (1 - centre)) / of)
    return point(count / of, centre, Math.max(0, centre - reach), Math.min(1, centre + reach))
  })
}

/**
 * Happenings per unit by period, where one unit may see several: pages a night. Limits three standard errors of a Poisson rate
 * away, never below 0.
 *
 * Source: W. A. Shewhart's u chart, as in D. C. Montgomery, Introduction to Statistical Quality Control, attribute charts.
 */
export function uChart(points: readonly Counted[]): readonly ChartPoint[] {
  const centre = overall(points)
  return points.map(({ count, of }) => {
    const reach = SIGMAS * Math.sqrt(centre / of)
    return point(count / of, centre, Math.max(0, centre - reach), centre + reach)
  })
}

/** 3 over 1.128, the mean moving range of two draws from a normal distribution in standard deviations (d2). */
const MOVING_RANGE_TO_LIMIT = SIGMAS / 1.128

/**
 * Single values by period: limits three times the mean moving range over 1.128 away.
 *
 * Source: individuals and moving range chart, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
 */
export function xmrChart(values: readonly number[]): readonly ChartPoint[] {
  const centre = mean(values)
  const ranges = values.slice(1).map((value, index) => Math.abs(value - (values[index] ?? value)))
  const reach = ranges.length === 0 ? Number.POSITIVE_INFINITY : MOVING_RANGE_TO_LIMIT * mean(ranges)
  return values.map(value => point(value, centre, centre - reach, centre + reach))
}

function point(value: number, centre: number, low: number, high: number): ChartPoint {
  return { value, centre, low, high, isSignal: value < low || value > high }
}

function overall(points: readonly Counted[]): number {
  return points.reduce((sum, { count }) => sum + count, 0) / points.reduce((sum, { of }) => sum + of, 0)
}

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length
