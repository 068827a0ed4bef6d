import { type CalendarSaid, dayOf, eitherOrder } from './phrase-calendar.ts'
import { spanishWeekday } from './phrase-clocks-es.ts'
import { alt, map, opt, type Parser, seq, token, word } from './phrase-grammar.ts'
import { wholeNumber } from './phrase-lengths-es.ts'

/** "3 de agosto", "en agosto del 2025", "la semana pasada": days and stretches of the calendar in Spanish. Accents are off. */

const MONTHS = 'enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre'.split(' ')
const SHORT: ReadonlyMap<string, string> = new Map([
  ['setiembre', 'septiembre'],
  ['set', 'septiembre'],
  ['sept', 'septiembre'],
])

const monthName: Parser<number> = token(text => {
  const stem = SHORT.get(text) ?? text
  const found = MONTHS.findIndex(name => name === stem || (stem.length === 3 && name.startsWith(stem)))
  return found < 0 ? undefined : found + 1
})

const yearNumber: Parser<number> = token(text => (/^(?:19|20)\d{2}$/.test(text) ? Number(text) : undefined))
const anyYear: Parser<number> = token(text => {
  if (/^(?:19|20)\d{2}$/.test(text)) return Number(text)
  return /^\d{2}$/.test(text) ? 2000 + Number(text) : undefined
})
/** "de 2025", "del 2025", "2025". */
const ofYear: Parser<number> = map(seq(opt(word('de', 'del')), yearNumber), ([, year]) => year)

const short: Parser<number> = token(text => (/^\d{1,2}$/.test(text) ? Number(text) : undefined))
const dayOfMonth: Parser<number> = alt(
  short,
  map(word('primero'), () => 1),
  map(wholeNumber, value => (value >= 1 && value <= 31 ? value : undefined)),
)

const namedDay: Parser<CalendarSaid> = alt(
  map(seq(opt(spanishWeekday), dayOfMonth, opt(word('de')), monthName, opt(ofYear)), ([, day, , month, year]) =>
    dayOf(year, month, day),
  ),
  map(seq(monthName, short, opt(ofYear)), ([month, day, year]) => dayOf(year, month, day)),
)

const isoDay: Parser<CalendarSaid> = map(
  seq(yearNumber, word('-', '/'), short, word('-', '/'), short),
  ([year, , month, , day]) => dayOf(year, month, day),
)

/** Day and month in figures: families from different countries write either first, so both are possible. */
const figures: Parser<CalendarSaid> = alt(
  map(seq(short, word('/', '-'), short, word('/', '-'), anyYear), ([first, , second, , year]) =>
    eitherOrder(first, second, year),
  ),
  token(text => {
    const found = /^(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2})$/.exec(text)
    if (found === null) return undefined
    const [, first, second, year = ''] = found
    return eitherOrder(Number(first), Number(second), year.length === 2 ? 2000 + Number(year) : Number(year))
  }),
)

/** "a principios de", "a mediados de", "a finales de": the whole month all the same. */
const partOfMonth = seq(
  opt(word('a')),
  word('principios', 'principio', 'mediados', 'finales', 'final', 'fines', 'fin', 'comienzos'),
  word('de'),
)

const wholeMonth: Parser<CalendarSaid> = map(
  seq(
    opt(word('en', 'desde')),
    opt(partOfMonth),
    opt(word('mes')),
    opt(word('de')),
    opt(word('pasado')),
    monthName,
    opt(word('pasado')),
    opt(ofYear),
  ),
  ([, , , , last, month, after, year]) => {
    const isLast = last !== undefined || after !== undefined
    if (isLast && year !== undefined) return undefined
    return { kind: 'month' as const, month, isLast, ...(year === undefined ? {} : { year }) }
  },
)

const part = seq(opt(word('en', 'por')), word('manana', 'madrugada', 'tarde', 'noche'))
const period = alt(
  map(word('semana'), () => 'week' as const),
  map(word('mes'), () => 'month' as const),
  map(word('ano'), () => 'year' as const),
)

/** A day or stretch of the calendar, always one that has been. The articles are gone. */
export const spanishCalendar: Parser<CalendarSaid> = alt<CalendarSaid>(
  namedDay,
  isoDay,
  figures,
  wholeMonth,
  map(seq(opt(word('en', 'desde')), opt(word('ano')), yearNumber), ([, , year]) => ({ kind: 'year' as const, year })),
  map(
    alt<unknown>(seq(word('hoy'), opt(part)), seq(word('esta'), word('manana', 'madrugada', 'tarde', 'noche'))),
    () => ({ kind: 'offset' as const, days: 0 }),
  ),
  map(seq(word('ayer'), opt(part)), ([, said]) =>
    // A night belongs to the day it begins on and runs into the next.
    said?.[1] === 'noche' ? { kind: 'last-night' as const } : { kind: 'offset' as const, days: -1 },
  ),
  map(seq(word('anteayer'), opt(part)), ([, said]) =>
    said?.[1] === 'noche' ? undefined : { kind: 'offset' as const, days: -2 },
  ),
  map(word('anoche'), () => ({ kind: 'last-night' as const })),
  map(seq(spanishWeekday, opt(part)), ([weekday]) => ({ kind: 'weekday' as const, weekday, isLast: false })),
  map(
    alt(
      map(seq(spanishWeekday, word('pasado')), ([weekday]) => weekday),
      map(seq(word('pasado'), spanishWeekday), ([, weekday]) => weekday),
    ),
    weekday => ({ kind: 'weekday' as const, weekday, isLast: true }),
  ),
  map(seq(opt(word('en', 'durante')), period, word('pasada', 'pasado')), ([, unit]) => ({
    kind: 'period' as const,
    unit,
    which: 'last' as const,
  })),
  map(seq(opt(word('en', 'durante')), word('esta', 'este'), period), ([, , unit]) => ({
    kind: 'period' as const,
    unit,
    which: 'this' as const,
  })),
)
