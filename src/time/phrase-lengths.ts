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

/** "20 minutes", "an hour and a half", "2 to 3 weeks": lengths of time as people say them. */

const UNITS: readonly (readonly [names: string, base: Base, size: number])[] = [
  ['second seconds sec secs', 'minute', 1 / 60],
  ['minute minutes min mins m minuets mintues minutos', 'minute', 1],
  ['hour hours hr hrs h', 'minute', 60],
  ['day days', 'day', 1],
  ['week weeks wk wks w', 'day', 7],
  ['fortnight fortnights', 'day', 14],
  ['month months mth mths mo mos', 'month', 1],
  ['year years yr yrs', 'month', 12],
]

const unitsByName = unitsNamed(UNITS, name => /(?<!^)s$/.test(name))

const NUMBERS =
  'zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen'.split(
    ' ',
  )
const TENS = ['twenty', 'thirty', 'forty', 'fifty', 'sixty', 'seventy', 'eighty', 'ninety']

const below20 = (text: string): number | undefined => {
  const value = NUMBERS.indexOf(text)
  return value < 0 ? undefined : value
}

const spokenNumber: Parser<number> = alt(
  token(below20),
  map(
    seq(
      token(text => (TENS.includes(text) ? (TENS.indexOf(text) + 2) * 10 : undefined)),
      opt(word('-')),
      opt(token(text => (NUMBERS.indexOf(text) > 0 && NUMBERS.indexOf(text) < 10 ? below20(text) : undefined))),
    ),
    ([tens, dash, ones]) => (dash !== undefined && ones === undefined ? undefined : tens + (ones ?? 0)),
  ),
)

/** A whole number in digits or words. */
export const wholeNumber: Parser<number> = alt(
  token(text => (/^\d{1,3}$/.test(text) ? Number(text) : undefined)),
  spokenNumber,
)

const unit: Parser<Unit> = token(text => unitsByName.get(text))
const oneUnit: Parser<Unit> = map(unit, found => (found.isPlural ? undefined : found))
const article = word('a', 'an')

const plainAmount: Parser<Amount> = alt(
  map(wholeNumber, value => exactly(value)),
  map(
    token(text => /^\d{1,2}\.\d{1,2}$/.exec(text) ?? undefined),
    ([text]) => decimal(text),
  ),
  map(seq(wholeNumber, phrase('and a half')), ([value]) => exactly(value + 0.5, 0.5)),
  map(seq(wholeNumber, phrase('and a quarter')), ([value]) => exactly(value + 0.25, 0.25)),
)

const fractions: Parser<LengthSaid> = alt(
  map(seq(word('half'), opt(word('of')), opt(article), oneUnit), ([, , , found]) => lengthOf(found, exactly(0.5, 0.5))),
  map(seq(article, word('half'), oneUnit), ([, , found]) => lengthOf(found, exactly(0.5, 0.5))),
  map(seq(opt(article), word('quarter'), opt(word('of')), opt(article), oneUnit), ([, , , , found]) =>
    isHour(found) ? lengthOf(found, exactly(0.25, 0.25)) : undefined,
  ),
  map(
    seq(word('three', '3'), word('quarter', 'quarters'), opt(word('of')), opt(article), oneUnit),
    ([, , , , found]) => (isHour(found) ? lengthOf(found, exactly(0.75, 0.25)) : undefined),
  ),
)

const tailFraction: Parser<number> = alt(
  map(alt(phrase('and a half'), phrase('a half'), phrase('and half'), phrase('half')), () => 0.5),
  map(alt(phrase('and a quarter'), phrase('a quarter')), () => 0.25),
  map(phrase('and three quarters'), () => 0.75),
)

const counted: Parser<LengthSaid> = alt(
  map(seq(plainAmount, opt(word(HEDGE)), unit), ([amount, , found]) => lengthOf(found, amount)),
  map(seq(opt(article), oneUnit), ([, found]) => lengthOf(found, exactly(1))),
  map(seq(opt(article), word('couple'), opt(word('of')), unit), ([, , , found]) => vague(found, 'couple')),
  map(seq(opt(article), word('few'), unit), ([, , found]) => vague(found, 'few')),
  map(
    seq(
      alt(
        map(article, () => 1),
        wholeNumber,
      ),
      unit,
      tailFraction,
    ),
    ([n, found, part]) => lengthOf(found, exactly(n + part, part === 0.5 ? 0.5 : 0.25)),
  ),
  map(seq(oneUnit, tailFraction), ([found, part]) => lengthOf(found, exactly(1 + part, part === 0.5 ? 0.5 : 0.25))),
)

/** "1 hour 20 minutes", "1 h 30", "3 weeks and 2 days". */
const compound: Parser<LengthSaid> = alt(
  map(
    seq(
      alt(
        map(article, () => 1),
        wholeNumber,
      ),
      unit,
      opt(word('and')),
      wholeNumber,
      unit,
    ),
    ([big, bigUnit, , small, smallUnit]) => sum(big, bigUnit, small, smallUnit),
  ),
  map(
    seq(
      wholeNumber,
      unit,
      token(text => (/^\d{2}$/.test(text) ? Number(text) : undefined)),
    ),
    ([big, bigUnit, small]) =>
      isHour(bigUnit) && small < 60
        ? { base: 'minute' as const, low: big * 60 + small, high: big * 60 + small, grain: 1 }
        : undefined,
  ),
)

const single: Parser<LengthSaid> = alt(fractions, counted, compound)
const hedged = <T>(parser: Parser<T>): Parser<T> => map(seq(opt(word(HEDGE)), parser), ([, value]) => value)
const dashOrTo = word('-', 'to', 'and')

const ranges: Parser<LengthSaid> = alt(
  map(seq(hedged(plainAmount), word('-', 'to'), plainAmount, unit), ([from, , to, found]) => spanned(from, to, found)),
  map(seq(hedged(plainAmount), word('or'), opt(word(HEDGE)), plainAmount, unit), ([from, , , to, found]) =>
    near(spanned(from, to, found)),
  ),
  map(seq(word('between'), hedged(plainAmount), dashOrTo, plainAmount, unit), ([, from, , to, found]) =>
    spanned(from, to, found),
  ),
  map(seq(hedged(single), word('-', 'to'), single), ([from, , to]) => joined(from, to)),
  map(seq(hedged(single), word('or'), opt(word(HEDGE)), single), ([from, , , to]) => near(joined(from, to))),
  map(seq(word('between'), hedged(single), dashOrTo, single), ([, from, , to]) => joined(from, to)),
  map(seq(article, oneUnit, word('or'), opt(word(HEDGE)), word('two', '2')), ([, found]) =>
    lengthOf(found, { low: 1, high: 2, grain: 0 }),
  ),
)

/** One length, or a range of lengths. */
export const length: Parser<LengthSaid> = alt(single, ranges)

const bounds: Parser<Bound> = alt(
  map(
    alt(
      phrase('less than'),
      phrase('under'),
      phrase('at most'),
      phrase('up to'),
      phrase('within'),
      phrase('within last'),
      phrase('in last'),
      phrase('in past'),
      phrase('within past'),
      phrase('maximum'),
    ),
    () => 'below' as const,
  ),
  map(
    alt(
      phrase('nearly'),
      phrase('almost'),
      phrase('just under'),
      phrase('a bit under'),
      phrase('a little under'),
      phrase('a bit less than'),
      phrase('a little less than'),
      phrase('slightly under'),
      phrase('slightly less than'),
      phrase('coming up to'),
      phrase('getting on for'),
      phrase('not quite'),
    ),
    () => 'just-below' as const,
  ),
  map(
    alt(
      phrase('just over'),
      phrase('a bit over'),
      phrase('a little over'),
      phrase('a bit more than'),
      phrase('a little more than'),
      phrase('slightly over'),
      phrase('slightly more than'),
    ),
    () => 'just-above' as const,
  ),
  map(
    alt(phrase('more than'), phrase('over'), phrase('at least'), phrase('longer than'), phrase('well over')),
    () => 'above' as const,
  ),
)

const endings: Parser<Bound> = alt(
  map(
    alt(phrase('or less'), phrase('at most'), phrase('max'), phrase('maximum'), phrase('tops'), phrase('or under')),
    () => 'below' as const,
  ),
  map(alt(phrase('or more'), phrase('or longer'), phrase('at least'), phrase('minimum')), () => 'above' as const),
)

/** A length with the words that bound it: "less than an hour", "nearly 2 hours", "half an hour or more". */
export const boundedLength: Parser<BoundedLength> = alt(
  map(length, said => ({ length: said, bound: 'exact' as const })),
  map(seq(bounds, opt(word(HEDGE)), length), ([bound, , said]) => ({ length: said, bound })),
  map(seq(length, endings), ([said, bound]) => ({ length: said, bound })),
)

/** Whether the words speak of what lies ahead: "in 20 minutes", "tomorrow". */
export const speaksAhead = (words: readonly string[]): boolean =>
  words.includes('tomorrow') ||
  words.includes('next') ||
  (words[0] === 'in' && whole(boundedLength, words.slice(1)).length > 0)
