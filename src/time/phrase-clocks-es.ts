import {
  type ClockPhrase,
  type ClockSaid,
  type DayPart,
  type DaySaid,
  IMPOSSIBLE,
  type Nearness,
  withBoth,
  withPart,
} from './phrase-clocks.ts'
import { alt, map, opt, type Parser, phrase, seq, token, word } from './phrase-grammar.ts'
import { wholeNumber } from './phrase-lengths-es.ts'
import { HEDGE } from './phrase-words.ts'
import { AND_MORE } from './phrase-words-es.ts'

/** "a las dos y cuarto", "cuarto para las tres", "las 11 de la noche": clock times as people say them in Spanish. Accents are off. */

interface Bare {
  readonly hour: number
  readonly minute: number
  /** Said so that it is one of twenty-four hours: a leading zero, 0, or 13 and up. */
  readonly isOf24: boolean
  /** A bare number: a clock time only when something says so ("a las 3", "3 pm"). */
  readonly needsMark: boolean
}

const bare = (hourText: string, minute: number, needsMark: boolean): Bare => {
  const hour = Number(hourText)
  const isOf24 = hour === 0 || hour > 12 || (hourText.length === 2 && hourText.startsWith('0'))
  return { hour, minute, isOf24, needsMark }
}

const digits: Parser<Bare> = token(text => {
  const pair = /^(\d{1,2})[:.](\d{2})$/.exec(text) ?? /^(\d{2})(\d{2})$/.exec(text)
  if (pair !== null) return bare(pair[1] ?? '', Number(pair[2]), false)
  return /^\d{1,2}$/.test(text) ? bare(text, 0, true) : undefined
})

const spokenHour: Parser<Bare> = (words, from) =>
  /^\d/.test(words[from] ?? '')
    ? []
    : wholeNumber(words, from).flatMap(({ value, to }) =>
        value >= 1 && value <= 24 ? [{ value: { ...bare(String(value), 0, true) }, to }] : [],
      )

const hour: Parser<Bare> = alt(digits, spokenHour)
const onTheHour: Parser<Bare> = map(hour, found => (found.minute === 0 && found.needsMark ? found : undefined))

const quarterOrHalf: Parser<number> = alt(
  map(word('media'), () => 30),
  map(seq(opt(word('un')), word('cuarto')), () => 15),
)
const minutesSaid: Parser<number> = map(seq(wholeNumber, opt(word('minutos', 'minuto', 'min', 'mins'))), ([minute]) =>
  minute >= 1 && minute <= 59 ? minute : undefined,
)

const past = (found: Bare, minute: number): Bare => ({ ...found, minute, needsMark: false })
const before = (found: Bare, minute: number): Bare => ({
  ...found,
  hour: found.hour === 1 ? 12 : found.hour - 1,
  minute: 60 - minute,
  needsMark: false,
})

/** "dos y media", "2 y cuarto", "3 y 20", "3 con 20 minutos". */
const minutesPast: Parser<Bare> = map(
  seq(onTheHour, word('y', 'con'), alt(quarterOrHalf, minutesSaid)),
  ([found, , minute]) => past(found, minute),
)
/** "tres menos cuarto", "3 menos 20". */
const minutesLess: Parser<Bare> = map(
  seq(
    onTheHour,
    word('menos'),
    alt(
      map(seq(opt(word('un')), word('cuarto')), () => 15),
      minutesSaid,
    ),
  ),
  ([found, , minute]) => (minute <= 30 && found.hour <= 12 && found.hour >= 1 ? before(found, minute) : undefined),
)
/** "cuarto para las tres", "10 para la una", "faltaban 20 para las 2". */
const minutesTo: Parser<Bare> = map(
  seq(
    opt(word('faltaban', 'faltando', 'faltaba', 'falta', 'faltan')),
    alt(
      map(seq(opt(word('un')), word('cuarto')), () => 15),
      minutesSaid,
    ),
    word('para'),
    word('la', 'las'),
    onTheHour,
  ),
  ([, minute, , , found]) => (minute <= 30 && found.hour <= 12 && found.hour >= 1 ? before(found, minute) : undefined),
)
/** "dos treinta", "nueve cuarenta y cinco", "nueve cero cinco". Hours in words only: "2 30" may be anything. */
const spokenPair: Parser<Bare> = map(
  seq(
    spokenHour,
    opt(word('cero')),
    map(
      seq(
        token(text => (/^\d/.test(text) ? undefined : text)),
        opt(
          map(
            seq(
              word('y'),
              token(text => (/^\d/.test(text) ? undefined : text)),
            ),
            ([, ones]) => ones,
          ),
        ),
      ),
      ([tens, ones]) => wholeOf(ones === undefined ? [tens] : [tens, 'y', ones]),
    ),
  ),
  ([found, zero, minute]) =>
    (zero === undefined ? minute >= 10 : minute > 0 && minute < 10) && minute <= 59 ? past(found, minute) : undefined,
)

const wholeOf = (words: readonly string[]): number | undefined =>
  wholeNumber(words, 0).find(({ to }) => to === words.length)?.value

const named: Parser<ClockSaid> = map(
  seq(
    opt(word('a', 'al')),
    opt(word('la', 'las')),
    opt(word('12', '12:00', 'doce')),
    opt(word('de', 'del')),
    opt(word('la')),
    alt(
      map(word('medianoche'), () => 0),
      map(word('mediodia'), () => 12),
    ),
  ),
  ([, , , , , found]) => ({ hour: found, minute: 0, half: '24h' as const }),
)

/** What is said of an hour to tell which half of the day it is in. */
type HalfSaid = 'am' | 'pm' | 'madrugada' | 'manana' | 'mediodia' | 'dia' | 'tarde' | 'noche'

const half: Parser<HalfSaid> = alt<HalfSaid>(
  word('am', 'pm') as Parser<HalfSaid>,
  map(
    seq(word('de', 'en', 'por'), word('la'), word('madrugada', 'manana', 'tarde', 'noche') as Parser<HalfSaid>),
    ([, , said]) => said,
  ),
  map(seq(word('del'), word('mediodia', 'dia') as Parser<HalfSaid>), ([, said]) => said),
  map(phrase('de medianoche'), () => 'noche' as const),
  map(phrase('de la medianoche'), () => 'noche' as const),
)

/**
 * Hour of the day for "las 12 de la noche" and its like; undefined where the words do not say one surely: "las 12 de la
 * mañana" is noon to some and midnight to others.
 */
function hourOfDay(said: number, found: HalfSaid): number | undefined {
  if (said > 12 || said === 0) return isWithin(said, found) ? said : undefined
  const [morning, later] = [said % 12, (said % 12) + 12]
  switch (found) {
    case 'am':
      return morning
    case 'pm':
      return later
    case 'manana':
      return said === 12 ? undefined : morning
    case 'madrugada':
      return morning <= 6 ? morning : undefined
    case 'mediodia':
      return later <= 15 ? later : undefined
    case 'dia':
      return said === 12 ? 12 : undefined
    case 'tarde':
      return later <= 20 ? later : undefined
    case 'noche':
      return said === 12 ? 0 : said <= 4 ? morning : said >= 6 ? later : undefined
  }
}

function isWithin(hourSaid: number, found: HalfSaid): boolean {
  if (found === 'am' || found === 'madrugada' || found === 'manana') return hourSaid < 12
  return found === 'noche' ? hourSaid === 0 || hourSaid >= 18 : hourSaid >= 12
}

const hoursWord = word('horas', 'hrs', 'hs', 'h')

/** A clock time; `isMarked` when a word before it ("a las") says that a bare number is one. */
function clockCore(isMarked: boolean): Parser<ClockSaid> {
  const counted = alt(hour, minutesPast, minutesLess, minutesTo, spokenPair)
  return alt(
    named,
    map(seq(counted, opt(hoursWord), opt(half)), ([found, hours, said]) => {
      if (found.needsMark && !isMarked && said === undefined) return undefined
      // "las 3 horas" is three hours as much as three o'clock.
      if (hours !== undefined && !found.isOf24 && found.needsMark) return undefined
      return settled(found, said)
    }),
  )
}

function settled({ hour: said, minute, isOf24 }: Bare, found: HalfSaid | undefined): ClockSaid | undefined {
  if (said === 24 && minute === 0 && found === undefined) return { hour: 0, minute: 0, half: '24h' }
  if (said > 23 || minute > 59) return IMPOSSIBLE
  if (found === undefined) return { hour: said, minute, half: isOf24 ? '24h' : 'either' }
  const settledHour = hourOfDay(said, found)
  if (settledHour === undefined) return said > 12 ? IMPOSSIBLE : undefined
  return { hour: settledHour, minute, half: settledHour < 12 ? 'am' : 'pm' }
}

const WEEKDAYS = [
  ['lunes', 'lun'],
  ['martes'],
  ['miercoles', 'mie'],
  ['jueves', 'jue'],
  ['viernes', 'vie'],
  ['sabado', 'sab'],
  ['domingo', 'dom'],
] as const

/** 1 Monday to 7 Sunday. */
export const spanishWeekday: Parser<number> = token(text => {
  const found = WEEKDAYS.findIndex(names => names.some(name => name === text))
  return found < 0 ? undefined : found + 1
})

const PARTS: ReadonlyMap<string, DayPart> = new Map([
  ['manana', 'morning'],
  ['madrugada', 'morning'],
  ['tarde', 'afternoon'],
  ['noche', 'night'],
])
const part: Parser<DayPart> = map(
  seq(
    opt(word('en', 'por', 'a', 'de')),
    opt(word('la')),
    token(text => PARTS.get(text)),
  ),
  ([, , said]) => said,
)

/** A day said beside a clock time: "ayer", "anoche", "esta mañana", "el viernes en la noche". */
const day: Parser<DaySaid> = alt<DaySaid>(
  map(word('anoche'), () => ({ kind: 'last-night' as const })),
  map(word('anteanoche'), () => ({ kind: 'offset' as const, days: -2, part: 'night' as const })),
  map(phrase('esta noche'), () => ({ kind: 'tonight' as const })),
  map(seq(word('hoy'), opt(part)), ([, said]) => withPart({ kind: 'offset', days: 0 }, said)),
  map(
    seq(
      opt(word('en')),
      word('esta'),
      token(text => (text === 'noche' ? undefined : PARTS.get(text))),
    ),
    ([, , said]) => withPart({ kind: 'offset', days: 0 }, said),
  ),
  map(seq(word('ayer'), opt(part)), ([, said]) => withPart({ kind: 'offset', days: -1 }, said)),
  map(seq(word('anteayer'), opt(part)), ([, said]) => withPart({ kind: 'offset', days: -2 }, said)),
  map(seq(spanishWeekday, opt(word('pasado')), opt(part)), ([found, , said]) =>
    withPart({ kind: 'weekday', weekday: found }, said),
  ),
  map(
    seq(
      word('en', 'por'),
      word('la'),
      token(text => PARTS.get(text)),
    ),
    ([, , said]) => ({
      kind: 'none' as const,
      part: said,
    }),
  ),
)

const nearness: Parser<Nearness> = alt<Nearness>(
  map(
    alt<unknown>(word('casi'), phrase('poco antes de'), phrase('un poco antes de'), phrase('un poquito antes de')),
    () => 'just-before' as const,
  ),
  map(
    alt<unknown>(
      phrase('poco despues de'),
      phrase('un poco despues de'),
      phrase('un poquito despues de'),
      phrase('pasaditas de'),
      word('pasaditas'),
    ),
    () => 'just-after' as const,
  ),
  map(alt<unknown>(phrase('despues de'), phrase('pasadas de'), word('pasadas', 'pasada')), () => 'after' as const),
  map(phrase('antes de'), () => 'before' as const),
)

interface Mark {
  readonly nearness: Nearness
  readonly isMarked: boolean
}

const hedge = opt(word(HEDGE))

const mark: Parser<Mark> = map(
  seq(
    opt(word('desde', 'de')),
    hedge,
    opt(nearness),
    hedge,
    opt(word('a', 'desde')),
    hedge,
    opt(word('la', 'las')),
    hedge,
  ),
  ([, , near, , , , article]) => ({ nearness: near ?? 'at', isMarked: article !== undefined }),
)

/** A clock time with its marks, without a day; a day beside it marks a bare number too ("anoche 10"). */
const clockBeside: Parser<Pick<ClockPhrase, 'clock' | 'nearness'>> = (words, from) =>
  mark(words, from).flatMap(({ value, to }) =>
    map(seq(clockCore(value.isMarked), opt(word(AND_MORE))), ([clock, more]) => {
      if (more === undefined) return { clock, nearness: value.nearness }
      return value.nearness === 'at' ? { clock, nearness: 'within-hour' as const } : undefined
    })(words, to),
  )

/** A clock time with a bare number allowed: for the ends of a range. */
export const spanishClockInRange: Parser<ClockSaid> = map(
  seq(hedge, opt(word('a')), opt(word('la', 'las')), clockCore(true)),
  ([, , , clock]) => clock,
)

/** A clock time that stands by itself: an unmarked bare number is none. */
export const spanishClockAlone: Parser<ClockSaid> = alt(
  clockCore(false),
  map(seq(opt(word('a')), word('la', 'las'), clockCore(true)), ([, , clock]) => clock),
)

export const spanishDay: Parser<DaySaid> = day

/** "Ayer a las 12 de la noche" is the midnight that ends the day to most, and the one that begins it to some: both. */
function onDay(found: Pick<ClockPhrase, 'clock' | 'nearness'>, said: DaySaid): readonly ClockPhrase[] {
  const plain: ClockPhrase = { ...found, day: said }
  const isMidnight = found.clock.hour === 0 && found.clock.half !== 'either'
  if (!isMidnight || (said.kind !== 'offset' && said.kind !== 'weekday') || said.part !== undefined) return [plain]
  return [plain, { ...found, day: withPart(said, 'night') }]
}

/** A clock time, with the day before it, after it or unsaid. */
export const spanishClock: Parser<ClockPhrase> = (words, from) => [
  ...map(clockBeside, found => ({ ...found, day: { kind: 'none' as const } }))(words, from),
  ...[
    ...map(seq(clockBeside, hedge, day), ([found, , said]) => onDay(found, said))(words, from),
    ...map(seq(day, hedge, clockBeside), ([said, , found]) => onDay(found, said))(words, from),
  ].flatMap(({ value, to }) => value.map(one => ({ value: one, to }))),
  ...map(seq(day, clockBeside, day), ([first, found, second]) => withBoth(found, first, second))(words, from),
  ...map(seq(clockBeside, day, day), ([found, first, second]) => withBoth(found, first, second))(words, from),
]
