import { instant } from './instant.ts'
import {
  dayEnd,
  dayNumber,
  dayShifted,
  dayStart,
  isDate,
  type LocalDate,
  localParts,
  monthShifted,
  weekdayOf,
} from './local-instants.ts'
import { type CalendarSaid, calendar } from './phrase-calendar.ts'
import { alt, map, occurrences, opt, type Parser, seq, whole, word } from './phrase-grammar.ts'
import type { BoundedLength } from './phrase-length-parts.ts'
import { boundedLength, speaksAhead } from './phrase-lengths.ts'
import { HEDGE, RATHER, wordsOf } from './phrase-words.ts'
import { ask, type MomentReading, type PhraseContext } from './reading.ts'

/** When the first tube was placed, in a caregiver's words: whole days. */

/** From the first to the last day (both inclusive). */
interface Days {
  readonly first: LocalDate
  readonly last: LocalDate
}

export type DateSaid =
  | { readonly length: BoundedLength }
  | { readonly calendar: CalendarSaid }
  | { readonly from: CalendarSaid; readonly to: CalendarSaid }

/** Longer ago than any child's first tube. */
const YEARS_AT_MOST = 25
/** How far back "over a year ago" may reach; only its near end decides anything. */
const OPEN_END_MONTHS = 20 * 12

const hedge = opt(word(HEDGE))

/** "Last week" is the week before this one; "in the last week" is a length. */
const lengthAgo: Parser<BoundedLength> = (words, from) => (words[from] === 'last' ? [] : boundedLength(words, from))

const said: Parser<DateSaid> = alt<DateSaid>(
  map(seq(hedge, lengthAgo, hedge, opt(word('ago', 'now')), hedge), ([, length]) => ({ length })),
  map(seq(hedge, opt(word('on')), calendar, hedge), ([, , found]) => ({ calendar: found })),
  map(seq(word('between'), calendar, word('and', '-'), calendar), ([, from, , to]) => ({ from, to })),
  map(seq(hedge, calendar, word('or', '-'), hedge, calendar), ([, from, , , to]) => ({ from, to })),
)

/** How one language says on which day. */
export interface DateWords {
  readonly wordsOf: (text: string) => readonly string[] | undefined
  readonly said: Parser<DateSaid>
  readonly time: Parser<unknown>
  readonly isAhead: (words: readonly string[]) => boolean
}

const ENGLISH: DateWords = {
  wordsOf: text => wordsOf(text, 'date'),
  said,
  time: alt<unknown>(boundedLength, calendar),
  isAhead: speaksAhead,
}

/**
 * Reads a date: "3 weeks ago" is every day from two and a half to three and a half weeks back, "in August" the whole of
 * the most recent August. The latest day is what safety rules count from (the youngest tract), so every doubt moves it
 * forward, never back. The whole text must be understood and lie in the past; anything else is asked about.
 */
export function readDateIn(language: DateWords, text: string, context: PhraseContext): MomentReading {
  const words = language.wordsOf(text)
  if (words === undefined) return ask('time-unclear')
  const spoken = words[0] === RATHER ? words.slice(1) : words
  if (spoken.includes(RATHER)) return ask('two-answers')
  const isHedged = spoken.includes(HEDGE)
  const readings = whole(language.said, spoken).map(found => readSaid(found, isHedged, context))
  const [first, second] = [...new Map(readings.map(reading => [JSON.stringify(reading), reading])).values()]
  if (first === undefined) return unread(language, spoken)
  if (second === undefined) return first
  return ask(
    'two-answers',
    [first, second].flatMap(one => (one.kind === 'between' ? [{ earliest: one.earliest, latest: one.latest }] : [])),
  )
}

export const readEnglishDate = (text: string, context: PhraseContext): MomentReading =>
  readDateIn(ENGLISH, text, context)

function unread(language: DateWords, words: readonly string[]): MomentReading {
  if (language.isAhead(words)) return ask('time-future')
  return ask(occurrences(language.time, words) > 1 ? 'two-answers' : 'time-unclear')
}

function readSaid(found: DateSaid, isHedged: boolean, context: PhraseContext): MomentReading {
  if ('length' in found) {
    const days = daysAgo(found.length, isHedged, context)
    return days === undefined ? ask('time-unclear') : settled(days, context)
  }
  if ('calendar' in found) return readCalendar(found.calendar, context)
  const from = readCalendar(inYearOf(found.from, found.to), context)
  const to = readCalendar(found.to, context)
  if (from.kind === 'ask') return from
  if (to.kind === 'ask') return to
  const latest = Math.max(from.latest, to.latest)
  const earliest = Math.min(from.earliest, to.earliest)
  // "March or August" is two answers; "March or April" is a stretch.
  if (latest - earliest > 70 * 24 * 3_600_000)
    return ask(
      'two-answers',
      [from, to].map(({ earliest, latest }) => ({ earliest, latest })),
    )
  return { kind: 'between', earliest: instant(earliest), latest: instant(latest) }
}

/** "March or April 2025": the year said with the second holds for the first. */
function inYearOf(from: CalendarSaid, to: CalendarSaid): CalendarSaid {
  const isSame = (from.kind === 'month' || from.kind === 'day') && (to.kind === 'month' || to.kind === 'day')
  return isSame && from.year === undefined && to.year !== undefined ? { ...from, year: to.year } : from
}

/** Days and weeks are counted in days, months and years on the calendar; minutes and hours are no answer to a date. */
function daysAgo({ length, bound }: BoundedLength, isHedged: boolean, context: PhraseContext): Days | undefined {
  if (length.base === 'minute') return undefined
  const off = offOf(length.grain, length.high, length.base, isHedged)
  const least = Math.max(0, length.low - off)
  const most = length.high + off
  const today = localParts(context.at, context.zone)
  const back = (amount: number, round: 'up' | 'down'): LocalDate => shiftedBack(today, amount, length.base, round)
  switch (bound) {
    case 'exact':
      return { first: back(most, 'up'), last: back(least, 'down') }
    case 'below':
      return { first: back(most, 'up'), last: today }
    case 'just-below':
      return { first: back(isHedged ? most : length.high, 'up'), last: back(length.low * 0.75, 'down') }
    case 'just-above':
      return { first: back(length.high * 1.25, 'up'), last: back(isHedged ? least : length.low, 'down') }
    case 'above': {
      const open = length.base === 'month' ? OPEN_END_MONTHS : OPEN_END_MONTHS * 30
      return { first: back(open, 'up'), last: back(isHedged ? least : length.low, 'down') }
    }
  }
}

/** Half the grain of the words either way; with "about" a quarter of the length where that is more. Years: at most half. */
function offOf(grain: number, high: number, base: BoundedLength['length']['base'], isHedged: boolean): number {
  if (base === 'day' && grain === 1 && !isHedged) return high > 3 ? 1 : 0
  const isYears = base === 'month' && grain >= 6
  const half = isYears ? Math.min(grain / 2, high * 0.25) : grain / 2
  if (!isHedged) return half
  const quarter = high * 0.25
  return Math.max(half, isYears ? Math.min(quarter, 12) : quarter)
}

function shiftedBack(
  today: LocalDate,
  amount: number,
  base: BoundedLength['length']['base'],
  round: 'up' | 'down',
): LocalDate {
  const toDays = round === 'up' ? Math.ceil : Math.floor
  if (base !== 'month') return dayShifted(today, -toDays(amount))
  const months = Math.trunc(amount)
  return dayShifted(monthShifted(today, -months), -toDays((amount - months) * 30))
}

function readCalendar(found: CalendarSaid, context: PhraseContext): MomentReading {
  const today = localParts(context.at, context.zone)
  switch (found.kind) {
    case 'impossible':
      return ask('time-impossible')
    case 'two-days':
      return whichOrder(found.candidates, context)
    case 'day':
      return isSoon(found, today) ? ask('time-future') : settled(oneDay(recentDay(found, today)), context)
    case 'month':
      return settled(monthDays(recentMonth(found, today)), context)
    case 'year':
      return settled(
        { first: { year: found.year, month: 1, day: 1 }, last: { year: found.year, month: 12, day: 31 } },
        context,
      )
    case 'offset':
      return settled(oneDay(dayShifted(today, found.days)), context)
    case 'last-night':
      return settled({ first: dayShifted(today, -1), last: today }, context)
    case 'weekday':
      return settled(weekdayDays(found, today), context)
    case 'period':
      return settled(periodDays(found, today), context)
  }
}

const oneDay = (day: LocalDate): Days => ({ first: day, last: day })

/** Day and month the other way round: the one that has been, when only one has; both are asked about. */
function whichOrder(candidates: readonly LocalDate[], context: PhraseContext): MomentReading {
  const past = candidates.map(day => settled(oneDay(day), context)).filter(reading => reading.kind === 'between')
  const [first, second] = past
  if (first === undefined) return ask('time-future')
  if (second === undefined) return first
  return ask(
    'two-answers',
    past.map(({ earliest, latest }) => ({ earliest, latest })),
  )
}

/** Without a year: the most recent such day that has been. */
function recentDay({ year, month, day }: { year?: number; month: number; day: number }, today: LocalDate): LocalDate {
  if (year !== undefined) return { year, month, day }
  let candidate = today.year
  while (!isDate({ year: candidate, month, day }) || dayNumber({ year: candidate, month, day }) > dayNumber(today))
    candidate -= 1
  return { year: candidate, month, day }
}

/** A day without a year that lies just ahead is more likely a slip than last year's, which would make an older tract. */
const SOON_DAYS = 31

function isSoon({ year, month, day }: { year?: number; month: number; day: number }, today: LocalDate): boolean {
  if (year !== undefined) return false
  return [today.year, today.year + 1].some(candidate => {
    const ahead = dayNumber({ year: candidate, month, day }) - dayNumber(today)
    return ahead > 0 && ahead <= SOON_DAYS
  })
}

/** Without a year: the most recent such month that has begun. "Last August" said in August is that of the year before. */
function recentMonth(
  found: { year?: number; month: number; isLast: boolean },
  today: LocalDate,
): { year: number; month: number } {
  if (found.year !== undefined) return { year: found.year, month: found.month }
  const isBegun = found.isLast ? found.month < today.month : found.month <= today.month
  return { year: isBegun ? today.year : today.year - 1, month: found.month }
}

function monthDays({ year, month }: { year: number; month: number }): Days {
  const first = { year, month, day: 1 }
  return { first, last: dayShifted(monthShifted(first, 1), -1) }
}

/** "On Friday" said on a Friday may be today or a week ago; "last Friday" may be the one before the most recent. */
function weekdayDays({ weekday, isLast }: { weekday: number; isLast: boolean }, today: LocalDate): Days {
  const ago = (weekdayOf(today) - weekday + 7) % 7
  if (ago === 0) return { first: dayShifted(today, -7), last: isLast ? dayShifted(today, -7) : today }
  return { first: dayShifted(today, isLast ? -ago - 7 : -ago), last: dayShifted(today, -ago) }
}

function periodDays(
  { unit, which }: { unit: 'week' | 'month' | 'year'; which: 'last' | 'this' },
  today: LocalDate,
): Days {
  if (unit === 'year') {
    const year = which === 'last' ? today.year - 1 : today.year
    return { first: { year, month: 1, day: 1 }, last: { year, month: 12, day: 31 } }
  }
  if (unit === 'month') {
    const { year, month } = which === 'last' ? monthShifted({ ...today, day: 1 }, -1) : today
    return monthDays({ year, month })
  }
  // Weeks begin on Sunday or on Monday: from the earlier beginning to the later end.
  const monday = dayShifted(today, 1 - weekdayOf(today))
  const sunday = dayShifted(today, -(weekdayOf(today) % 7))
  const earlier = dayNumber(monday) < dayNumber(sunday) ? monday : sunday
  const later = dayNumber(monday) < dayNumber(sunday) ? sunday : monday
  if (which === 'this') return { first: earlier, last: today }
  return { first: dayShifted(earlier, -7), last: dayShifted(later, -1) }
}

/** The days as instants, from the start of the first to the end of the last, never ahead of now. */
function settled({ first, last }: Days, { at, zone }: PhraseContext): MomentReading {
  const earliest = dayStart(first, zone)
  if (earliest > at) return ask('time-future')
  if (dayNumber(first) < dayNumber(monthShifted(localParts(at, zone), -YEARS_AT_MOST * 12)))
    return ask('time-impossible')
  return { kind: 'between', earliest, latest: instant(Math.min(dayEnd(last, zone), at)) }
}
