import { alt, map, opt, type Parser, phrase, seq, token, whole, word } from './phrase-grammar.ts'
import {
  type Amount,
  type Base,
  type Bound,
  type BoundedLength,
  decimal,
  exactly,
  isHour,
  joined,
  type LengthSaid,
  lengthOf,
  near,
  spanned,
  sum,
  type Unit,
  unitsNamed,
  vague,
} from './phrase-length-parts.ts'
import { HEDGE } from './phrase-words.ts'
import { AND_MORE } from './phrase-words-es.ts'

/** "20 minutos", "una hora y media", "de 2 a 3 semanas": lengths of time as people say them in Spanish. Accents are off. */

const UNITS: readonly (readonly [names: string, base: Base, size: number])[] = [
  ['segundo segundos seg segs', 'minute', 1 / 60],
  ['minuto minutos min mins minutito minutitos', 'minute', 1],
  ['hora horas hr hrs h hs horita horitas', 'minute', 60],
  ['dia dias', 'day', 1],
  ['semana semanas sem', 'day', 7],
  ['quincena quincenas', 'day', 15],
  ['mes meses', 'month', 1],
  ['ano anos anito anitos', 'month', 12],
]

const unitsByName = unitsNamed(UNITS, name => /(?:[aeo]s|meses)$/.test(name) && name !== 'mes')

const NUMBERS =
  'cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciseis diecisiete dieciocho diecinueve veinte veintiuno veintidos veintitres veinticuatro veinticinco veintiseis veintisiete veintiocho veintinueve'.split(
    ' ',
  )
const TENS = ['treinta', 'cuarenta', 'cincuenta', 'sesenta', 'setenta', 'ochenta', 'noventa']

const below30 = (text: string): number | undefined => {
  if (text === 'un' || text === 'una') return 1
  if (text === 'veintiun' || text === 'veintiuna') return 21
  const value = NUMBERS.indexOf(text)
  return value < 0 ? undefined : value
}
const ones = (text: string): number | undefined => {
  const value = below30(text)
  return value !== undefined && value > 0 && value < 10 ? value : undefined
}

/** A whole number in digits or words: "35", "treinta y cinco". */
export const wholeNumber: Parser<number> = alt(
  token(text => (/^\d{1,3}$/.test(text) ? Number(text) : undefined)),
  token(below30),
  map(
    seq(
      token(text => (TENS.includes(text) ? (TENS.indexOf(text) + 3) * 10 : undefined)),
      opt(map(seq(word('y'), token(ones)), ([, value]) => value)),
    ),
    ([tens, one]) => tens + (one ?? 0),
  ),
)

const unit: Parser<Unit> = token(text => unitsByName.get(text))
const oneUnit: Parser<Unit> = map(unit, found => (found.isPlural ? undefined : found))

const plainAmount: Parser<Amount> = alt(
  map(wholeNumber, value => exactly(value)),
  map(
    token(text => /^\d{1,2}\.\d{1,2}$/.exec(text) ?? undefined),
    ([text]) => decimal(text),
  ),
  map(seq(wholeNumber, phrase('y media')), ([value]) => exactly(value + 0.5, 0.5)),
)

const fractions: Parser<LengthSaid> = alt(
  map(seq(word('media', 'medio'), oneUnit), ([, found]) => lengthOf(found, exactly(0.5, 0.5))),
  map(seq(opt(word('un')), word('cuarto', 'cuartito'), word('de'), oneUnit), ([, , , found]) =>
    isHour(found) ? lengthOf(found, exactly(0.25, 0.25)) : undefined,
  ),
  map(seq(word('tres', '3'), word('cuartos'), word('de'), oneUnit), ([, , , found]) =>
    isHour(found) ? lengthOf(found, exactly(0.75, 0.25)) : undefined,
  ),
)

const tailFraction: Parser<number> = alt(
  map(alt(phrase('y media'), phrase('y medio')), () => 0.5),
  map(alt(phrase('y cuarto'), phrase('y un cuarto')), () => 0.25),
)
const shareOf = (part: number): number => (part === 0.5 ? 0.5 : 0.25)

const counted: Parser<LengthSaid> = alt(
  map(seq(plainAmount, opt(word(HEDGE)), unit), ([amount, , found]) => lengthOf(found, amount)),
  map(seq(word('un', 'el'), word('par'), word('de'), unit), ([, , , found]) => vague(found, 'couple')),
  map(
    seq(
      word('unos', 'unas', 'algunos', 'algunas', 'pocos', 'pocas'),
      opt(word('cuantos', 'cuantas', 'pocos', 'pocas')),
      unit,
    ),
    ([, , found]) => vague(found, 'few'),
  ),
  map(seq(wholeNumber, unit, tailFraction), ([n, found, part]) => lengthOf(found, exactly(n + part, shareOf(part)))),
  map(seq(oneUnit, tailFraction), ([found, part]) => lengthOf(found, exactly(1 + part, shareOf(part)))),
  // "una hora y pico": more than one, less than two.
  map(seq(wholeNumber, unit, word(AND_MORE)), ([n, found]) => lengthOf(found, { low: n, high: n + 1, grain: 0 })),
)

/** "1 hora 20 minutos", "una hora y veinte", "1 h 30", "3 semanas y 2 días". */
const compound: Parser<LengthSaid> = alt(
  map(seq(wholeNumber, unit, opt(word('y', 'con')), wholeNumber, unit), ([big, bigUnit, , small, smallUnit]) =>
    sum(big, bigUnit, small, smallUnit),
  ),
  map(seq(wholeNumber, unit, word('y', 'con'), wholeNumber), ([big, bigUnit, , small]) => hourAnd(big, bigUnit, small)),
  map(
    seq(
      wholeNumber,
      unit,
      token(text => (/^\d{2}$/.test(text) ? Number(text) : undefined)),
    ),
    ([big, bigUnit, small]) => hourAnd(big, bigUnit, small),
  ),
)

function hourAnd(big: number, bigUnit: Unit, small: number): LengthSaid | undefined {
  if (!isHour(bigUnit) || small <= 0 || small >= 60) return undefined
  return { base: 'minute', low: big * 60 + small, high: big * 60 + small, grain: 1 }
}

const single: Parser<LengthSaid> = alt(fractions, counted, compound)
const hedged = <T>(parser: Parser<T>): Parser<T> => map(seq(opt(word(HEDGE)), parser), ([, value]) => value)
const upTo = word('a', '-', 'hasta')
const or = word('o', 'u', 'y')

const ranges: Parser<LengthSaid> = alt(
  map(seq(opt(word('de')), hedged(plainAmount), upTo, plainAmount, unit), ([, from, , to, found]) =>
    spanned(from, to, found),
  ),
  map(seq(hedged(plainAmount), word('o', 'u'), opt(word(HEDGE)), plainAmount, unit), ([from, , , to, found]) =>
    near(spanned(from, to, found)),
  ),
  map(seq(word('entre'), hedged(plainAmount), or, plainAmount, unit), ([, from, , to, found]) =>
    spanned(from, to, found),
  ),
  map(seq(opt(word('de')), hedged(single), upTo, single), ([, from, , to]) => joined(from, to)),
  map(seq(hedged(single), word('o', 'u'), opt(word(HEDGE)), single), ([from, , , to]) => near(joined(from, to))),
  map(seq(word('entre'), hedged(single), or, single), ([, from, , to]) => joined(from, to)),
  map(seq(word('un', 'una', '1'), oneUnit, word('o', 'u'), word('dos', '2')), ([, found]) =>
    lengthOf(found, { low: 1, high: 2, grain: 0 }),
  ),
)

/** One length, or a range of lengths. */
const length: Parser<LengthSaid> = alt(single, ranges)

const LAST = ['en', 'dentro', 'durante'] as const
const bounds: Parser<Bound> = alt(
  map(alt<unknown>(phrase('menos de'), word('maximo', 'hasta')), () => 'below' as const),
  // "en las últimas 2 horas", "en la última media hora"
  map(
    seq(word(...LAST), opt(word('las', 'la')), word('ultimos', 'ultimas', 'ultimo', 'ultima')),
    () => 'below' as const,
  ),
  map(
    alt<unknown>(word('casi'), phrase('poco menos de'), phrase('un poco menos de'), phrase('algo menos de')),
    () => 'just-below' as const,
  ),
  map(
    alt(phrase('poco mas de'), phrase('un poco mas de'), phrase('un poquito mas de'), phrase('algo mas de')),
    () => 'just-above' as const,
  ),
  map(alt<unknown>(phrase('mas de'), word('minimo')), () => 'above' as const),
)

const endings: Parser<Bound> = alt(
  map(alt<unknown>(phrase('o menos'), word('maximo')), () => 'below' as const),
  map(alt<unknown>(phrase('o mas'), word('minimo')), () => 'above' as const),
)

/** A length with the words that bound it: "menos de una hora", "casi 2 horas", "media hora o más". */
export const spanishLength: Parser<BoundedLength> = alt(
  map(length, said => ({ length: said, bound: 'exact' as const })),
  map(seq(bounds, opt(word(HEDGE)), length), ([bound, , said]) => ({ length: said, bound })),
  map(seq(length, endings), ([said, bound]) => ({ length: said, bound })),
)

/** Whether the words speak of what lies ahead: "en 20 minutos", "dentro de una hora". */
export const speaksAheadInSpanish = (words: readonly string[]): boolean =>
  words.includes('proximo') ||
  words.includes('proxima') ||
  (words[0] === 'en' && whole(length, words.slice(1)).length > 0) ||
  (words[0] === 'dentro' && words[1] === 'de')
