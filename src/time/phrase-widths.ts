import type { BoundedLength, LengthSaid } from './phrase-length-parts.ts'

/**
 * How far a length that somebody remembers may be off. Rounded outward, so that the worse end is never the milder.
 *
 * - "20 minutes", "1 hour 20": 2 minutes fewer to 5 more, since a count kept in one's head runs behind.
 * - "half an hour", "2 hours": said in coarse grains, so off by a tenth, rounded up to 5 minutes, at most 15.
 * - "about", "I think", "maybe": off by a quarter, rounded outward to 5 minutes.
 * - "2 to 3 hours": as said. "about 2 to 3 hours": each end off by a tenth, as above.
 * These widths are our own choice; no source.
 */
export interface MinutesOff {
  readonly least: number
  readonly most: number
}

/** "nearly" goes down to three quarters, "just over" up to five quarters, rounded outward to 5 minutes. */
const QUARTER = 0.25
const STEP = 5
const COARSE_AT_MOST = 15
const COUNTED_FEWER = 2
const COUNTED_MORE = 5

const down = (minutes: number): number => Math.max(0, Math.floor(minutes / STEP) * STEP)
const up = (minutes: number): number => Math.ceil(minutes / STEP) * STEP

function coarse(minutes: number): number {
  return Math.min(COARSE_AT_MOST, up(minutes / 10))
}

/** Widened ends of a length in minutes. */
function widened({ low, high, grain }: LengthSaid, isHedged: boolean): MinutesOff {
  const isRange = low !== high || grain === 0
  if (isHedged && !isRange) return { least: down(low * (1 - QUARTER)), most: up(high * (1 + QUARTER)) }
  if ((isHedged && isRange) || grain >= 15) return { least: Math.max(0, low - coarse(low)), most: high + coarse(high) }
  if (isRange) return { least: low, most: high }
  return { least: Math.max(0, low - COUNTED_FEWER), most: high + COUNTED_MORE }
}

/**
 * The shortest and longest, in minutes, that the words allow; undefined where they have no upper end ("more than an hour").
 */
export function minutesMeant({ length, bound }: BoundedLength, isHedged: boolean): MinutesOff | undefined {
  const { least, most } = widened(length, isHedged)
  switch (bound) {
    case 'exact':
      return { least, most }
    case 'below':
      return { least: 0, most: isHedged ? most : length.high }
    case 'just-below':
      return { least: down(length.low * (1 - QUARTER)), most: isHedged ? most : length.high }
    case 'just-above':
      return { least: isHedged ? least : length.low, most: up(length.high * (1 + QUARTER)) }
    case 'above':
      return undefined
  }
}

/** How far a clock time that was only about right may be off, in minutes: by the grain it was said in. */
export function clockOff(minute: number): number {
  if (minute % 15 === 0) return 15
  return minute % 5 === 0 ? 10 : 5
}
