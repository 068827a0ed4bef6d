/** What the runs of a series say about whether chance alone made it. */
export interface Runs {
  readonly median: number
  /** Points not on the median: only these count. */
  readonly useful: number
  readonly longestRun: number
  readonly longestRunMost: number
  readonly crossings: number
  readonly crossingsLeast: number
  /** A run longer, or fewer crossings, than chance would bring in about 95 of 100 series. */
  readonly isSignal: boolean
}

/** With fewer useful points, or fewer than half of all, the rules say nothing. */
export const USEFUL_LEAST = 10

/**
 * The runs of a series about its median: unusually long runs or unusually few crossings mean a shift.
 *
 * Limits: J. Anhøj, A. V. Olesen 2014, PLoS ONE 9(11):e113825: the longest run at most log2(n) + 3, rounded; crossings at least
 * the 5th percentile of a binomial of n − 1 tries with one half each.
 */
export function runsOf(values: readonly number[]): Runs {
  const median = medianOf(values)
  const sides = values.filter(value => value !== median).map(value => value > median)
  const useful = sides.length
  let longestRun = 0
  let crossings = 0
  let run = 0
  sides.forEach((side, index) => {
    const isSame = index > 0 && side === sides[index - 1]
    if (index > 0 && !isSame) crossings++
    run = isSame ? run + 1 : 1
    longestRun = Math.max(longestRun, run)
  })
  const longestRunMost = useful === 0 ? 0 : Math.round(Math.log2(useful) + 3)
  const crossingsLeast = useful < 2 ? 0 : binomialPercentile(useful - 1, 0.05)
  // Where most points lie on the median itself, the others are all on one side by its making.
  const isEnough = useful >= USEFUL_LEAST && useful * 2 > values.length
  const isSignal = isEnough && (longestRun > longestRunMost || crossings < crossingsLeast)
  return { median, useful, longestRun, longestRunMost, crossings, crossingsLeast, isSignal }
}

export function medianOf(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const middle = sorted.length / 2
  if (sorted.length % 2 === 1) return sorted[Math.floor(middle)] ?? Number.NaN
  return ((sorted[middle - 1] ?? Number.NaN) + (sorted[middle] ?? Number.NaN)) / 2
}

/** The least number of successes, of `tries` with one half each, that at most so many fall short of, as a share. */
function binomialPercentile(tries: number, share: number): number {
  let term = 2 ** -tries
  let sum = term
  for (let successes = 0; successes < tries; successes++) {
    if (sum >= share) return successes
    term *= (tries - successes) / (successes + 1)
    sum += term
  }
  return tries
}
