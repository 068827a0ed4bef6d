import { isDate, type LocalDate } from './local-instants.ts'
import { type DayPart, weekday } from './phrase-clocks.ts'
import { alt, map, opt, type Parser, phrase, seq, token, word } from './phrase-grammar.ts'

/** "3 Aug", "in August", "last week", "2026-08-03": days and stretches of the calendar as people say them. */

export type CalendarSaid =
  /** A day; without a year the most recent one. */
  | { readonly kind: 'day'; readonly year?: number; readonly month: number; readonly day: number }
  /** "3/8/2026", which may be the 3rd of August or the 8th of March. */
  | { readonly kind: 'two-days'; readonly candidates: readonly [LocalDate, LocalDate] }
  /** A whole month; without a year the most recent one. */
  | { readonly kind: 'month'; readonly year?: number; readonly month: number; readonly isLast: boolean }
  | { readonly kind: 'year'; readonly year: number }
  | { readonly kind: 'offset'; readonly days: number }
  /** "last night": yesterday or today. */
  | { readonly kind: 'last-night' }
  | { readonly kind: 'weekday'; readonly weekday: number; readonly isLast: boolean }
  | { readonly kind: 'period'; readonly unit: 'week' | 'month' | 'year'; readonly which: 'last' | 'this' }
  | { readonly kind: 'impossible' }

const MONTHS = 'january february march april may june july august september october november december'.split(' ')

const monthName: Parser<number> = token(text => {
  const stem = text === 'sept' ? 'sep' : text
  const found = MONTHS.findIndex(name => name === stem || (stem.length === 3 && name.startsWith(stem)))
  return found < 0 ? undefined : found + 1
})

const yearNumber: Parser<number> = token(text => (/^(?:19|20)\d{2}$/.test(text) ? Number(text) : undefined))
const anyYear: Parser<number> = token(text => {
  if (/^(?:19|20)\d{2}$/.test(text)) return Number(text)
  return /^\d{2}$/.test(text) ? 2000 + Number(text) : undefined
})

const dayOfMonth: Parser<number> = map(
  seq(
    token(text => (/^\d{1,2}$/.test(text) ? Number(text) : undefined)),
    opt(word('st', 'nd', 'rd', 'th')),
  ),
  ([day]) => day,
)
const short: Parser<number> = token(text => (/^\d{1,2}$/.test(text) ? Number(text) : undefined))

export function dayOf(year: number | undefined, month: number, day: number): CalendarSaid {
  // 2028 is a leap year: without a year any day that some year has is possible.
  if (!isDate({ year: year ?? 2028, month, day })) return { kind: 'impossible' }
  return year === undefined ? { kind: 'day', month, day } : { kind: 'day', year, month, day }
}

const namedDay: Parser<CalendarSaid> = alt(
  map(
    seq(opt(word('on')), opt(weekday), dayOfMonth, opt(word('of')), monthName, opt(yearNumber)),
    ([, , day, , month, year]) => dayOf(year, month, day),
  ),
  map(seq(opt(word('on')), opt(weekday), monthName, dayOfMonth, opt(yearNumber)), ([, , month, day, year]) =>
    dayOf(year, month, day),
  ),
)

const isoDay: Parser<CalendarSaid> = map(
  seq(yearNumber, word('-', '/'), short, word('-', '/'), short),
  ([year, , month, , day]) => dayOf(year, month, day),
)

/** Day and month in figures: sure when only one order is a date, or both are the same day. */
const figures: Parser<CalendarSaid> = alt(
  map(seq(opt(word('on')), short, word('/', '-'), short, word('/', '-'), anyYear), ([, first, , second, , year]) =>
    eitherOrder(first, second, year),
  ),
  token(text => {
    const found = /^(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2})$/.exec(text)
    if (found === null) return undefined
    const [, first, second, year = ''] = found
    return eitherOrder(Number(first), Number(second), year.length === 2 ? 2000 + Number(year) : Number(year))
  }),
)

export function eitherOrder(first: number, second: number, year: number): CalendarSaid {
  const possible = [
    { year, month: second, day: first },
    { year, month: first, day: second },
  ].filter(isDate)
  const [one, other] = possible
  if (one === undefined) return { kind: 'impossible' }
  if (other === undefined || first === second) return { kind: 'day', ...one }
  return { kind: 'two-days', candidates: [one, other] }
}

const partOfMonth = alt(
  word('early', 'mid', 'late'),
  phrase('beginning of'),
  phrase('start of'),
  phrase('middle of'),
  phrase('end of'),
  phrase('at beginning of'),
  phrase('at start of'),
  phrase('at end of'),
)

const wholeMonth: Parser<CalendarSaid> = map(
  seq(opt(word('in', 'during')), opt(partOfMonth), opt(word('-')), opt(word('last')), monthName, opt(yearNumber)),
  ([, , , last, month, year]) => {
    if (last !== undefined && year !== undefined) return undefined
    return { kind: 'month' as const, month, isLast: last !== undefined, ...(year === undefined ? {} : { year }) }
  },
)

const part = word('morning', 'afternoon', 'evening') as Parser<DayPart>

/** A day or stretch of the calendar, always one that has been. */
export const calendar: Parser<CalendarSaid> = alt<CalendarSaid>(
  namedDay,
  isoDay,
  figures,
  wholeMonth,
  map(seq(opt(word('in')), yearNumber), ([, year]) => ({ kind: 'year' as const, year })),
  map(alt<unknown>(phrase('today'), seq(word('this'), part), phrase('tonight')), () => ({
    kind: 'offset' as const,
    days: 0,
  })),
  map(seq(word('yesterday'), opt(part)), () => ({ kind: 'offset' as const, days: -1 })),
  map(seq(word('ereyesterday'), opt(part)), () => ({ kind: 'offset' as const, days: -2 })),
  map(alt(phrase('last night'), phrase('yesterday night')), () => ({ kind: 'last-night' as const })),
  map(seq(opt(word('on')), weekday, opt(part)), ([, found]) => ({
    kind: 'weekday' as const,
    weekday: found,
    isLast: false,
  })),
  map(seq(opt(word('on')), word('last'), weekday, opt(part)), ([, , found]) => ({
    kind: 'weekday' as const,
    weekday: found,
    isLast: true,
  })),
  map(
    seq(
      opt(word('at', 'during')),
      word('last', 'this') as Parser<'last' | 'this'>,
      word('week', 'month', 'year') as Parser<'week' | 'month' | 'year'>,
    ),
    ([, which, unit]) => ({ kind: 'period' as const, unit, which }),
  ),
)
