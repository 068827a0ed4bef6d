/** Spanish: when, on which day, how long. What the words come to is worked out as for English. */
import { spanishCalendar } from './phrase-calendar-es.ts'
import type { ClockSaid, DaySaid } from './phrase-clocks.ts'
import { spanishClock, spanishClockAlone, spanishClockInRange, spanishDay } from './phrase-clocks-es.ts'
import { type DateSaid, type DateWords, readDateIn } from './phrase-dates.ts'
import { type DurationWords, readDurationIn } from './phrase-durations.ts'
import { alt, map, opt, type Parser, seq, word } from './phrase-grammar.ts'
import type { BoundedLength } from './phrase-length-parts.ts'
import { spanishLength, speaksAheadInSpanish } from './phrase-lengths-es.ts'
import { type MomentWords, readMomentIn, type Said, type Told } from './phrase-moments.ts'
import { FEED, FOUND, HEDGE, SEEN } from './phrase-words.ts'
import { JUST_NOW, spanishWordsOf } from './phrase-words-es.ts'
import type { LengthReading, MomentReading, PhraseContext } from './reading.ts'

const hedge = opt(word(HEDGE))

/** "hace 20 minutos", "desde hace una hora", "lleva 2 horas", "una hora atrás". */
const ago: Parser<BoundedLength> = map(
  seq(
    opt(word(JUST_NOW)),
    hedge,
    opt(word('desde')),
    hedge,
    opt(word('hace', 'tiene', 'lleva', 'llevamos', 'van', 'va')),
    hedge,
    spanishLength,
    hedge,
    opt(word('atras')),
    hedge,
  ),
  ([, , , , , , length]) => length,
)

const none: DaySaid = { kind: 'none' }

/** "entre la 1:30 y las 2", "de 9 a 10 de la noche", "1:30 a 2:00". */
const stretch: Parser<{ readonly from: ClockSaid; readonly to: ClockSaid }> = alt(
  map(seq(hedge, word('entre'), spanishClockInRange, word('y', 'a', '-'), spanishClockInRange), ([, , from, , to]) => ({
    from,
    to,
  })),
  map(
    seq(hedge, word('de', 'desde'), spanishClockInRange, word('a', '-', 'hasta'), spanishClockInRange),
    ([, , from, , to]) => ({
      from,
      to,
    }),
  ),
  map(seq(hedge, spanishClockAlone, word('a', '-'), spanishClockInRange), ([, from, , to]) => ({ from, to })),
)

const said: Parser<Said> = alt<Said>(
  map(seq(hedge, word(JUST_NOW), hedge), () => ({ kind: 'now' as const })),
  map(ago, length => ({ kind: 'ago' as const, length })),
  map(seq(spanishClock, hedge), ([clock]) => ({ kind: 'clock' as const, clock })),
  map(seq(stretch, hedge), ([{ from, to }]) => ({ kind: 'range' as const, from, to, day: none })),
  map(seq(stretch, spanishDay, hedge), ([{ from, to }, day]) => ({ kind: 'range' as const, from, to, day })),
  map(seq(spanishDay, stretch, hedge), ([day, { from, to }]) => ({ kind: 'range' as const, from, to, day })),
  map(seq(hedge, word(FEED), hedge), () => ({ kind: 'feed' as const })),
)

const link = opt(word('y', 'e', 'luego', 'despues', 'pero', '-'))

const told: Parser<Told> = alt<Told>(
  map(said, one => ({ said: one })),
  map(seq(word(SEEN), said), ([, seen]) => ({ seen })),
  map(seq(word(SEEN), said, link, word(FOUND), said), ([, seen, , , found]) => ({ seen, found })),
  map(seq(word(FOUND), said, link, word(SEEN), said), ([, found, , , seen]) => ({ seen, found })),
  map(seq(word(FOUND), said), ([, found]) => ({ found })),
)

const MOMENTS: MomentWords = {
  wordsOf: text => spanishWordsOf(text, 'moment'),
  told,
  time: alt<unknown>(spanishLength, spanishClock),
  isAhead: speaksAheadInSpanish,
  not: 'no',
  but: 'sino',
  or: ['o', 'u'],
}

/** "Last week" is the week before this one; "in the last week" is a length. */
const dateSaid: Parser<DateSaid> = alt<DateSaid>(
  map(ago, length => ({ length })),
  map(seq(hedge, opt(word('en', 'desde')), hedge, spanishCalendar, hedge), ([, , , calendar]) => ({ calendar })),
  map(seq(hedge, word('entre'), spanishCalendar, word('y', '-'), spanishCalendar), ([, , from, , to]) => ({
    from,
    to,
  })),
  map(seq(hedge, spanishCalendar, word('o', 'u', '-'), hedge, spanishCalendar), ([, from, , , to]) => ({ from, to })),
)

const DATES: DateWords = {
  wordsOf: text => spanishWordsOf(text, 'date'),
  said: dateSaid,
  time: alt<unknown>(spanishLength, spanishCalendar),
  isAhead: speaksAheadInSpanish,
}

const DURATIONS: DurationWords = {
  wordsOf: text => spanishWordsOf(text, 'duration'),
  duration: map(seq(hedge, opt(word('a', 'en')), hedge, spanishLength, hedge), ([, , , length]) => length),
}

export const readSpanishMoment = (text: string, context: PhraseContext): MomentReading =>
  readMomentIn(MOMENTS, text, context)
export const readSpanishDate = (text: string, context: PhraseContext): MomentReading => readDateIn(DATES, text, context)
export const readSpanishDuration = (text: string): LengthReading => readDurationIn(DURATIONS, text)
