import { type Instant, instant, minutes } from './instant.ts'
import { clockRange, clockTime } from './phrase-clock-times.ts'
import {
  type ClockPhrase,
  type ClockSaid,
  clockAlone,
  clockInRange,
  clockPhrase,
  type DaySaid,
  daySaid,
} from './phrase-clocks.ts'
import { alt, map, occurrences, opt, type Parser, phrase, seq, whole, word } from './phrase-grammar.ts'
import type { BoundedLength } from './phrase-length-parts.ts'
import { boundedLength, speaksAhead } from './phrase-lengths.ts'
import { clockOff, minutesMeant } from './phrase-widths.ts'
import { FEED, FOUND, HEDGE, RATHER, SEEN, wordsOf } from './phrase-words.ts'
import { ask, type MomentReading, type PhraseContext } from './reading.ts'

/** When something happened, in a caregiver's words. */

export type Said =
  | { readonly kind: 'now' }
  | { readonly kind: 'ago'; readonly length: BoundedLength }
  | { readonly kind: 'clock'; readonly clock: ClockPhrase }
  | { readonly kind: 'range'; readonly from: ClockSaid; readonly to: ClockSaid; readonly day: DaySaid }
  | { readonly kind: 'feed' }

const HOUR_MINUTES = 60
/** A length longer than this is no answer about tonight; it is asked about. */
const AGO_AT_MOST_HOURS = 24 * 14
const JUST_NOW = minutes(10)
const JUST_BESIDE = minutes(15)

const hedge = opt(word(HEDGE))

const agoSaid: Parser<Said> = map(
  seq(
    hedge,
    opt(alt(word('for', 'since'), phrase('for last'), phrase('for past'))),
    hedge,
    boundedLength,
    hedge,
    opt(word('ago', 'back', 'now')),
    hedge,
  ),
  ([, , , length]) => ({ kind: 'ago' as const, length }),
)

const clockSaid: Parser<Said> = map(seq(clockPhrase, hedge), ([clock]) => ({ kind: 'clock' as const, clock }))

const none: DaySaid = { kind: 'none' }

/** "between 1:30 and 2", "1:30-2:00", "from 9 pm to 10 pm"; the bare "1 to 2" may be two minutes to two and is none. */
const stretch: Parser<{ readonly from: ClockSaid; readonly to: ClockSaid }> = alt(
  map(seq(hedge, word('between'), clockInRange, word('and', '-', 'to'), clockInRange), ([, , from, , to]) => ({
    from,
    to,
  })),
  map(seq(word('from'), clockInRange, word('-', 'to', 'till', 'until'), clockInRange), ([, from, , to]) => ({
    from,
    to,
  })),
  map(seq(hedge, opt(word('at')), clockAlone, word('-', 'to'), clockInRange), ([, , from, , to]) => ({ from, to })),
)

const rangeSaid: Parser<Said> = alt(
  map(seq(stretch, hedge), ([{ from, to }]) => ({ kind: 'range' as const, from, to, day: none })),
  map(seq(stretch, daySaid, hedge), ([{ from, to }, day]) => ({ kind: 'range' as const, from, to, day })),
  map(seq(daySaid, stretch, hedge), ([day, { from, to }]) => ({ kind: 'range' as const, from, to, day })),
)

const nowSaid: Parser<Said> = map(
  seq(hedge, alt(phrase('just now'), word('now'), phrase('just this second')), hedge),
  () => ({ kind: 'now' as const }),
)

const feedSaid: Parser<Said> = map(seq(hedge, word(FEED), hedge), () => ({ kind: 'feed' as const }))

const moment: Parser<Said> = alt(nowSaid, agoSaid, clockSaid, rangeSaid, feedSaid)

/** A moment, or the two ends of one that nobody saw: last seen in, then found out. */
export type Told = { readonly said: Said } | { readonly seen: Said; readonly found?: Said } | { readonly found: Said }

const link = opt(word('and', 'then', 'but', '-'))

const told: Parser<Told> = alt<Told>(
  map(moment, said => ({ said })),
  map(seq(word(SEEN), moment), ([, seen]) => ({ seen })),
  map(seq(word(SEEN), moment, link, word(FOUND), moment), ([, seen, , , found]) => ({ seen, found })),
  map(seq(word(FOUND), moment, link, word(SEEN), moment), ([, found, , , seen]) => ({ seen, found })),
  map(seq(word(FOUND), moment), ([, found]) => ({ found })),
)

/** How one language says when. */
export interface MomentWords {
  readonly wordsOf: (text: string) => readonly string[] | undefined
  readonly told: Parser<Told>
  /** Anything that is a time of some kind: two of them are two answers. */
  readonly time: Parser<unknown>
  readonly isAhead: (words: readonly string[]) => boolean
  readonly not: string
  readonly but: string
  readonly or: readonly string[]
}

const ENGLISH: MomentWords = {
  wordsOf: text => wordsOf(text, 'moment'),
  told,
  time: alt<unknown>(boundedLength, clockPhrase),
  isAhead: speaksAhead,
  not: 'not',
  but: 'but',
  or: ['or'],
}

/**
 * Reads when something happened. The whole text must be understood, lie in the past, and come to one interval; anything
 * else is asked about. The earliest end is what safety rules count from, so every doubt moves it back, never forward.
 */
export function readMomentIn(language: MomentWords, text: string, context: PhraseContext): MomentReading {
  const words = language.wordsOf(text)
  if (words === undefined) return ask('time-unclear')
  const spoken = words[0] === RATHER ? words.slice(1) : words
  const split = spoken.indexOf(RATHER)
  const parts = (at: number) => [spoken.slice(0, at), spoken.slice(at + 1)] as const
  if (split >= 0) return corrected(language, ...parts(split), context)
  const but = spoken.indexOf(language.but)
  if (spoken[0] === language.not && but > 0) return corrected(language, ...parts(but), context)
  return readWords(language, spoken, context)
}

export const readEnglishMoment = (text: string, context: PhraseContext): MomentReading =>
  readMomentIn(ENGLISH, text, context)

/** "not 20 minutes, more like an hour": the correction counts when it is not the milder; else it is asked about. */
function corrected(
  language: MomentWords,
  before: readonly string[],
  after: readonly string[],
  context: PhraseContext,
): MomentReading {
  if (after.includes(RATHER)) return ask('two-answers')
  const second = readWords(language, after, context)
  if (before.length === 0 || second.kind === 'ask') return second
  const first = readWords(language, before[0] === language.not ? before.slice(1) : before, context)
  if (first.kind === 'ask') return ask('two-answers', [second])
  return second.earliest <= first.earliest ? second : ask('two-answers', [first, second])
}

function readWords(language: MomentWords, words: readonly string[], context: PhraseContext): MomentReading {
  const isHedged = words.includes(HEDGE)
  const readings = whole(language.told, words).map(found => readTold(found, isHedged, context))
  const distinct = new Map(readings.map(reading => [JSON.stringify(reading), reading]))
  const [first, second] = [...distinct.values()]
  if (first === undefined) return unread(language, words)
  if (second !== undefined) {
    return ask(
      'two-answers',
      [first, second].flatMap(one => (one.kind === 'between' ? [{ earliest: one.earliest, latest: one.latest }] : [])),
    )
  }
  return first
}

/** Words that no rule matched: why, as well as can be told. */
function unread(language: MomentWords, words: readonly string[]): MomentReading {
  if (language.isAhead(words)) return ask('time-future')
  const found = occurrences(language.time, words)
  const isEither = words.some(word => language.or.includes(word))
  return ask(found > 1 || (found === 1 && isEither) ? 'two-answers' : 'time-unclear')
}

function readTold(found: Told, isHedged: boolean, context: PhraseContext): MomentReading {
  if ('said' in found) return readSaid(found.said, isHedged, context)
  // Found out, and nothing about when it was last in: it may have come out at any time before.
  if (!('seen' in found)) return ask('time-unclear')
  const seen = readSaid(found.seen, isHedged, context)
  if (seen.kind === 'ask' || found.found === undefined) {
    return seen.kind === 'ask' ? seen : { kind: 'between', earliest: seen.earliest, latest: context.at }
  }
  const out = readSaid(found.found, isHedged, context)
  if (out.kind === 'ask') return out
  return seen.earliest <= out.latest
    ? { kind: 'between', earliest: seen.earliest, latest: out.latest }
    : ask('two-answers')
}

function readSaid(said: Said, isHedged: boolean, context: PhraseContext): MomentReading {
  switch (said.kind) {
    case 'now':
      return between(context.at - JUST_NOW, context.at, context)
    case 'ago':
      return readAgo(said.length, isHedged, context)
    case 'clock':
      return readClock(said.clock, isHedged, context)
    case 'range':
      return readRange(said, isHedged, context)
    case 'feed':
      return readFeed(context)
  }
}

function readAgo(length: BoundedLength, isHedged: boolean, context: PhraseContext): MomentReading {
  const inMinutes = asMinutes(length)
  if (inMinutes === undefined) return ask('time-unclear')
  const meant = minutesMeant(inMinutes, isHedged)
  if (meant === undefined) return ask('time-unclear')
  if (meant.most > AGO_AT_MOST_HOURS * HOUR_MINUTES) return ask('time-impossible')
  return between(context.at - meant.most * 60_000, context.at - meant.least * 60_000, context)
}

/** Days as 24 hours, good to half a day either way; weeks and months are no answer to "when tonight". */
function asMinutes({ length, bound }: BoundedLength): BoundedLength | undefined {
  if (length.base === 'minute') return { length, bound }
  if (length.base !== 'day' || length.grain >= 7) return undefined
  const day = 24 * HOUR_MINUTES
  return {
    length: { base: 'minute', low: Math.max(0, length.low - 0.5) * day, high: (length.high + 0.5) * day, grain: 0 },
    bound,
  }
}

function readClock({ clock, day, nearness }: ClockPhrase, isHedged: boolean, context: PhraseContext): MomentReading {
  const time = clockTime(clock, day, context)
  if (time.kind === 'ask') return ask(time.reason, time.candidates)
  const off = isHedged ? minutes(clockOff(clock.minute)) : minutes(0)
  switch (nearness) {
    case 'at':
      return between(time.at - off, time.until + off, context)
    case 'just-before':
      return between(time.at - JUST_BESIDE, time.until, context)
    case 'just-after':
      return between(time.at - off, time.until + JUST_BESIDE, context)
    case 'within-hour':
      return between(time.at - off, time.until + minutes(HOUR_MINUTES), context)
    case 'after':
      return between(time.at - off, context.at, context)
    case 'before':
      return ask('time-unclear')
  }
}

function readRange(said: Extract<Said, { kind: 'range' }>, isHedged: boolean, context: PhraseContext): MomentReading {
  const range = clockRange(said.from, said.to, said.day, context)
  if ('kind' in range) return range.kind === 'ask' ? ask(range.reason, range.candidates) : ask('time-unclear')
  const off = (minute: number) => (isHedged ? minutes(clockOff(minute)) : 0)
  return between(range.earliest - off(said.from.minute), range.latest + off(said.to.minute), context)
}

/** At some time in the feed: not before it began. Without that instant nothing is known. */
function readFeed({ lastFeedStart, at }: PhraseContext): MomentReading {
  if (lastFeedStart === undefined || lastFeedStart > at) return ask('time-unclear')
  return { kind: 'between', earliest: lastFeedStart, latest: at }
}

const MINUTE_MS = 60_000

/** The earliest end is cut to its minute; the latest is never ahead of now. */
function between(earliest: number, latest: number, { at }: { readonly at: Instant }): MomentReading {
  const from = Math.floor(earliest / MINUTE_MS) * MINUTE_MS
  if (from > at) return ask('time-future')
  return { kind: 'between', earliest: instant(from), latest: instant(Math.max(from, Math.min(latest, at))) }
}
