import { alt, map, opt, type Parser, seq, whole, word } from './phrase-grammar.ts'
import type { BoundedLength } from './phrase-length-parts.ts'
import { boundedLength } from './phrase-lengths.ts'
import { type MinutesOff, minutesMeant } from './phrase-widths.ts'
import { HEDGE, RATHER, wordsOf } from './phrase-words.ts'
import type { LengthReading } from './reading.ts'

/** How long something takes, or how old somebody is, in a caregiver's words. Of a journey the longest end counts, of an age the shortest. */

const HOURS_AT_MOST = 24

const hedge = opt(word(HEDGE))
const duration: Parser<BoundedLength> = alt(map(seq(hedge, boundedLength, hedge), ([, length]) => length))

const unclear: LengthReading = { kind: 'ask', reason: 'time-unclear' }

const DAY_MS = 86_400_000
/** A month of age counts as 30 days and a year as 365. */
const MONTH_DAYS = 30
const YEAR_DAYS = 365
const AGE_AT_MOST = 30 * YEAR_DAYS * DAY_MS

/**
 * "3 years", "6 weeks", "2 years 3 months": that much and up to one more of the smallest unit said (exclusive). With
 * "about", a quarter either way. "Nearly 3 months" is down to three quarters of it; "over 3 months" has no upper end.
 */
function ageOf({ length, bound }: BoundedLength, isHedged: boolean): LengthReading {
  const ms = (amount: number): number =>
    length.base === 'day'
      ? amount * DAY_MS
      : (Math.floor(amount / 12) * YEAR_DAYS + (amount % 12) * MONTH_DAYS) * DAY_MS
  if (bound === 'above') return unclear
  const share = isHedged || bound === 'just-below' ? 0.75 : 1
  const atLeastMs = bound === 'below' ? 0 : Math.floor(ms(length.low) * share)
  const atMostMs = Math.ceil(ms(length.high + length.grain) * (isHedged ? 1.25 : 1)) - 1
  return atMostMs > AGE_AT_MOST ? { kind: 'ask', reason: 'time-impossible' } : { kind: 'length', atLeastMs, atMostMs }
}

/** A journey said plainly is as long as it was said: it is looked ahead to, not remembered, and read back. */
function travelMeant(found: BoundedLength, isHedged: boolean): MinutesOff | undefined {
  if (isHedged || found.bound !== 'exact') return minutesMeant(found, isHedged)
  return { least: found.length.low, most: found.length.high }
}

/** How one language says how long. */
export interface DurationWords {
  readonly wordsOf: (text: string) => readonly string[] | undefined
  readonly duration: Parser<BoundedLength>
}

/**
 * Reads a length of travel: "25 min", "half an hour", "about 20 to 30 minutes". The whole text must be understood.
 * "More than an hour" has no longest end and is asked about; more than 24 hours is impossible. An age: "3 years".
 */
export function readDurationIn(language: DurationWords, text: string): LengthReading {
  const words = language.wordsOf(text)
  if (words === undefined) return unclear
  const spoken = words[0] === RATHER ? words.slice(1) : words
  if (spoken.includes(RATHER)) return { kind: 'ask', reason: 'two-answers' }
  const readings = whole(language.duration, spoken)
  const [found, second] = readings
  if (found === undefined) return unclear
  if (second !== undefined) return { kind: 'ask', reason: 'two-answers' }
  if (found.length.base !== 'minute') return ageOf(found, spoken.includes(HEDGE))
  const meant = travelMeant(found, spoken.includes(HEDGE))
  if (meant === undefined) return unclear
  if (meant.most <= 0 || meant.most > HOURS_AT_MOST * 60) return { kind: 'ask', reason: 'time-impossible' }
  return { kind: 'length', atLeastMs: Math.floor(meant.least * 60_000), atMostMs: Math.ceil(meant.most * 60_000) }
}

export const readEnglishDuration = (text: string): LengthReading =>
  readDurationIn({ wordsOf: said => wordsOf(said, 'duration'), duration }, text)
