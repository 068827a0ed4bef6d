import { alt, map, opt, type Parser, seq, whole, word } from './phrase-grammar.ts'
import { type BoundedLength, boundedLength } from './phrase-lengths.ts'
import { minutesMeant } from './phrase-widths.ts'
import { HEDGE, RATHER, wordsOf } from './phrase-words.ts'
import type { LengthReading } from './reading.ts'

/** How long something takes, in a caregiver's words. The longest end is what safety rules read. */

const HOURS_AT_MOST = 24

const hedge = opt(word(HEDGE))
const duration: Parser<BoundedLength> = alt(map(seq(hedge, boundedLength, hedge), ([, length]) => length))

const unclear: LengthReading = { kind: 'ask', reason: 'time-unclear' }

/**
 * Reads a length of travel: "25 min", "half an hour", "about 20 to 30 minutes". The whole text must be understood.
 * "More than an hour" has no longest end and is asked about; a day or more is impossible.
 */
export function readEnglishDuration(text: string): LengthReading {
  const words = wordsOf(text, 'duration')
  if (words === undefined) return unclear
  const spoken = words[0] === RATHER ? words.slice(1) : words
  if (spoken.includes(RATHER)) return { kind: 'ask', reason: 'two-answers' }
  const readings = whole(duration, spoken)
  const [found, second] = readings
  if (found === undefined) return unclear
  if (second !== undefined) return { kind: 'ask', reason: 'two-answers' }
  if (found.length.base !== 'minute') return { kind: 'ask', reason: 'time-impossible' }
  const meant = minutesMeant(found, spoken.includes(HEDGE))
  if (meant === undefined) return unclear
  if (meant.most <= 0 || meant.most > HOURS_AT_MOST * 60) return { kind: 'ask', reason: 'time-impossible' }
  return { kind: 'length', atLeastMs: Math.floor(meant.least * 60_000), atMostMs: Math.ceil(meant.most * 60_000) }
}
