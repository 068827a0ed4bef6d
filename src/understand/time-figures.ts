/** How well words about time are read, held against labelled lines: read right, asked again, or worse. */

/** Ends in milliseconds: instants for a moment or date, a length for a length. Both inclusive. */
export interface Ends {
  readonly from: number
  readonly to: number
}

export type TimeKind = 'moment' | 'date' | 'length'

/**
 * `unsafe`: the end that is worse for the child was read milder than it is labelled, or words that say no time were read
 * as one. `wide`: read much wider than labelled.
 */
export type TimeVerdict = 'right' | 'asked' | 'unsafe' | 'wide'

const MINUTE_MS = 60_000
const DAY_MS = 24 * 60 * MINUTE_MS

/** How much milder the worse end may be read, and from how much wider on a reading counts as wide. */
const LIMITS: Readonly<Record<TimeKind, { readonly milderMs: number; readonly widerMs: number }>> = {
  moment: { milderMs: 5 * MINUTE_MS, widerMs: 30 * MINUTE_MS },
  date: { milderMs: DAY_MS, widerMs: 31 * DAY_MS },
  length: { milderMs: 5 * MINUTE_MS, widerMs: 30 * MINUTE_MS },
}
/** Beside `widerMs`, a wide reading is more than this many times as wide as the label. */
const WIDER_TIMES = 2

/**
 * The verdict on one reading; `undefined` stands for "asked again", and as a label for words that no time can be read from.
 * The worse end is the earlier one of a moment (longer ago), the later one of a date (a newer opening), and the longer
 * length.
 */
export function timeVerdict(kind: TimeKind, label: Ends | undefined, read: Ends | undefined): TimeVerdict {
  if (read === undefined) return 'asked'
  if (label === undefined) return 'unsafe'
  const { milderMs, widerMs } = LIMITS[kind]
  const milder = { moment: read.from - label.from, date: label.to - read.to, length: label.to - read.to }[kind]
  if (milder > milderMs) return 'unsafe'
  const [width, labelled] = [read.to - read.from, label.to - label.from]
  return width > labelled * WIDER_TIMES && width - labelled > widerMs ? 'wide' : 'right'
}

export interface TimeFigures {
  readonly right: number
  readonly asked: number
  readonly unsafe: number
  readonly wide: number
}

export function timeFigures(verdicts: readonly TimeVerdict[]): TimeFigures {
  const count = (verdict: TimeVerdict): number => verdicts.filter(each => each === verdict).length
  return { right: count('right'), asked: count('asked'), unsafe: count('unsafe'), wide: count('wide') }
}
