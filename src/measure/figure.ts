/** What a measurement must keep to be good enough: `least` for more is better, `most` for less is better. */
export type Bound = 'least' | 'most'

/** One line of the document that `measure --json` prints. */
export interface Figure {
  readonly area: string
  readonly name: string
  /** Median of the rounds. */
  readonly value: number
  /** Written out: "times", "milliseconds", "megabytes", "percent", "steps". */
  readonly unit: string
  readonly target: number
  /** Whether the median keeps the target (a value equal to it does). */
  readonly reached: boolean
  /** What it was measured beside in the same run, with its version; for a figure without a peer, what was done. */
  readonly against: string
}

/** A figure with what only a person reads of it. */
export interface Measured extends Figure {
  readonly bound: Bound
  readonly lowest: number
  readonly highest: number
  readonly rounds: number
}

/** Share of its target that a figure must keep: below it, it has fallen, whatever the noise of the machine. */
export const FALLEN_BELOW = 0.7

/** The middle of the values; of an even number of them the mean of the two in the middle. Throws on none. */
export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b)
  const upper = sorted[Math.floor(sorted.length / 2)]
  const lower = sorted[Math.ceil(sorted.length / 2) - 1]
  if (upper === undefined || lower === undefined)
    throw new Error('median: at least one value was expected, there is none')
  return (lower + upper) / 2
}

/**
 * The smallest value that is not below `share` (0 < share ≤ 1) of all values: the nearest-rank percentile. Throws on none.
 */
export function percentile(values: readonly number[], share: number): number {
  const sorted = values.toSorted((a, b) => a - b)
  const value = sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)]
  if (value === undefined) throw new Error('percentile: at least one value was expected, there is none')
  return value
}

/** `ours` over `peers`, round by round: a slow moment of the machine falls on both sides of a ratio. */
export function ratios(ours: readonly number[], peers: readonly number[]): number[] {
  if (ours.length !== peers.length) {
    throw new Error(`ratios: as many rounds of ours (${ours.length}) as of the peer (${peers.length}) were expected`)
  }
  return ours.map((value, round) => value / (peers[round] ?? Number.NaN))
}

/** A figure from the values of its rounds. */
export function figureOf(
  given: Pick<Measured, 'area' | 'name' | 'unit' | 'target' | 'bound' | 'against'>,
  values: readonly number[],
): Measured {
  const value = median(values)
  return {
    ...given,
    value,
    reached: given.bound === 'least' ? value >= given.target : value <= given.target,
    lowest: Math.min(...values),
    highest: Math.max(...values),
    rounds: values.length,
  }
}

/** How much of its target a figure keeps: 1 when it is just reached, above 1 with room to spare. */
export function shareOfTarget({ value, target, bound }: Pick<Measured, 'value' | 'target' | 'bound'>): number {
  if (bound === 'least') return value / target
  // Something that must not be there at all is there, or is not.
  if (target === 0) return value === 0 ? 1 : 0
  return value <= 0 ? Number.POSITIVE_INFINITY : target / value
}

/** `between`: the target was missed by less than noise may explain. */
export type Verdict = 'reached' | 'between' | 'fell'

export function verdictOf(figure: Pick<Measured, 'value' | 'target' | 'bound' | 'reached'>): Verdict {
  if (figure.reached) return 'reached'
  return shareOfTarget(figure) >= FALLEN_BELOW ? 'between' : 'fell'
}

/** 0 when every figure reaches its target or falls short by less than noise may explain; 1 when one has fallen. */
export const exitCodeOf = (figures: readonly Measured[]): 0 | 1 =>
  figures.some(figure => verdictOf(figure) === 'fell') ? 1 : 0

/** What `--json` prints of a figure: these seven and no more. Values to four significant digits. */
export function publicFigure({ area, name, value, unit, target, reached, against }: Measured): Figure {
  return { area, name, value: rounded(value), unit, target, reached, against }
}

/** Four significant digits. */
export const rounded = (value: number): number => Number(value.toPrecision(4))
