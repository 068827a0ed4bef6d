import { alt, map, opt, type Parser, phrase, seq, token, word } from './phrase-grammar.ts'
import { wholeNumber } from './phrase-lengths.ts'
import { HEDGE } from './phrase-words.ts'

/** "half past nine", "0940", "quarter to ten last night": clock times as people say them. */

/** Hour and minute as said. `either`: twelve-hour words without am or pm. */
export interface ClockSaid {
  readonly hour: number
  readonly minute: number
  readonly half: 'either' | 'am' | 'pm' | '24h'
  /** Nothing on any clock ("25:00", "9:75"). */
  readonly isImpossible?: true
}

/** The part of the day said with a clock time. */
export type DayPart = 'morning' | 'afternoon' | 'evening' | 'night'

/** The day said with a clock time. */
export type DaySaid =
  | { readonly kind: 'none'; readonly part?: DayPart }
  /** Days from today: 0 today, -1 yesterday. */
  | { readonly kind: 'offset'; readonly days: number; readonly part?: DayPart }
  | { readonly kind: 'last-night' }
  | { readonly kind: 'tonight' }
  /** 1 Monday to 7 Sunday: the most recent one. */
  | { readonly kind: 'weekday'; readonly weekday: number; readonly part?: DayPart }

/** How the words place the moment beside the clock time: at it, somewhat before, somewhat after (Spanish "las 3 y pico": within the hour). */
export type Nearness = 'at' | 'just-before' | 'just-after' | 'within-hour' | 'after' | 'before'

export interface ClockPhrase {
  readonly clock: ClockSaid
  readonly day: DaySaid
  readonly nearness: Nearness
}

interface Bare {
  readonly hour: number
  readonly minute: number
  readonly half: ClockSaid['half']
  /** A bare number: a clock time only when something says so ("at 3", "3 o'clock", "3 pm"). */
  readonly needsMark: boolean
}

export const IMPOSSIBLE: ClockSaid = { hour: 0, minute: 0, half: '24h', isImpossible: true }

/** Twelve-hour words or twenty-four: a leading zero, 0, and 13 and up say twenty-four. */
function halfOf(hourText: string): ClockSaid['half'] {
  const hour = Number(hourText)
  return hour === 0 || hour > 12 || (hourText.length === 2 && hourText.startsWith('0')) ? '24h' : 'either'
}

const digits: Parser<Bare> = token(text => {
  const pair = /^(\d{1,2})[:.](\d{2})$/.exec(text) ?? /^(\d{2})(\d{2})$/.exec(text)
  if (pair !== null) return bare(pair[1] ?? '', pair[2] ?? '', false)
  const short = /^(\d)(\d{2})$/.exec(text)
  if (short !== null) return bare(short[1] ?? '', short[2] ?? '', true)
  return /^\d{1,2}$/.test(text) ? { ...bare(text, '00', true), half: halfOfBare(text) } : undefined
})

/** "at 3" may be either; "at 15" is no way to say a time without more. */
const halfOfBare = (text: string): ClockSaid['half'] => (Number(text) > 12 ? '24h' : 'either')

function bare(hourText: string, minuteText: string, needsMark: boolean): Bare {
  return { hour: Number(hourText), minute: Number(minuteText), half: halfOf(hourText), needsMark }
}

const spokenHour: Parser<Bare> = map(wholeNumber, hour =>
  hour >= 1 && hour <= 12 ? { hour, minute: 0, half: 'either' as const, needsMark: true } : undefined,
)

/** "half past nine", British "half nine". Where "half nine" means 8:30 this is an hour too young: it is read back. */
const halfPast: Parser<Bare> = map(seq(word('half'), opt(word('past', 'after')), spokenHour), ([, , { hour }]) =>
  past(hour, 30),
)

interface MinutesOfHour {
  readonly minute: number
  /** A number alone: "5 to 6" may be a range. */
  readonly isBare: boolean
}

const minutesOfHour: Parser<MinutesOfHour> = alt(
  map(seq(opt(word('a')), word('quarter')), () => ({ minute: 15, isBare: false })),
  map(seq(wholeNumber, opt(word('minutes', 'minute', 'mins', 'min'))), ([minute, unit]) =>
    minute >= 1 && minute <= 29 ? { minute, isBare: unit === undefined } : undefined,
  ),
)

const minutesPast: Parser<Bare> = map(
  seq(minutesOfHour, word('past', 'after'), spokenHour),
  ([{ minute }, , { hour }]) => past(hour, minute),
)
/** "ten to three". "1 to 2" and "5 to 6" may be ranges: a clock time only when something before them says so ("at 5 to 6"). */
const minutesTo: Parser<Bare> = map(
  seq(minutesOfHour, word('to', 'till', 'til'), spokenHour),
  ([{ minute, isBare }, , { hour }]) => ({
    ...past(hour === 1 ? 12 : hour - 1, 60 - minute),
    needsMark: isBare && (minute < hour || minute % 5 !== 0),
  }),
)

/** "three thirty", "nine forty five", "nine oh five". */
const spokenPair: Parser<Bare> = map(
  seq(
    token(text => (/^\d/.test(text) ? undefined : text)),
    opt(word('oh', 'o')),
    token(text => (/^\d/.test(text) ? undefined : text)),
    opt(token(text => (/^\d/.test(text) ? undefined : text))),
  ),
  ([hourText, oh, ...rest]) => {
    const hour = spokenHour([hourText], 0)[0]?.value.hour
    const minuteWords = rest.filter(part => part !== undefined)
    const minute = wholeNumber(minuteWords, 0).find(found => found.to === minuteWords.length)?.value
    if (hour === undefined || minute === undefined || minute > 59) return undefined
    const isSaid = oh === undefined ? minute >= 10 : minute < 10 && minute > 0
    return isSaid ? past(hour, minute) : undefined
  },
)

const past = (hour: number, minute: number): Bare => ({ hour, minute, half: 'either', needsMark: false })

const named: Parser<ClockSaid> = alt(
  map(seq(opt(word('12', 'twelve')), word('midnight')), () => ({ hour: 0, minute: 0, half: '24h' as const })),
  map(seq(opt(word('12', 'twelve')), word('noon', 'midday')), () => ({ hour: 12, minute: 0, half: '24h' as const })),
)

const suffix = word('am', 'pm')
const oclock = word('oclock')

/** A clock time; `isMarked` when a word before it ("at") says that a bare number is one. */
function clockCore(isMarked: boolean): Parser<ClockSaid> {
  const counted = alt(
    digits,
    map(spokenHour, found => found),
    halfPast,
    minutesPast,
    minutesTo,
    spokenPair,
  )
  return alt(
    named,
    map(seq(counted, opt(oclock), opt(suffix)), ([found, hours, half]) => {
      if (found.needsMark && !isMarked && hours === undefined && half === undefined) return undefined
      return settled(found, half)
    }),
  )
}

function settled({ hour, minute, half, needsMark }: Bare, said: string | undefined): ClockSaid | undefined {
  if (hour === 24 && minute === 0) return { hour: 0, minute: 0, half: '24h' }
  if (hour > 23 || minute > 59) return needsMark ? undefined : IMPOSSIBLE
  if (said === undefined) return needsMark && half === '24h' ? undefined : { hour, minute, half }
  if (said === 'am') return hour > 12 ? IMPOSSIBLE : { hour: hour % 12, minute, half: 'am' }
  if (hour === 0 || (hour > 12 && needsMark)) return IMPOSSIBLE
  return { hour: hour > 12 ? hour : (hour % 12) + 12, minute, half: 'pm' }
}

const WEEKDAYS = [
  ['monday', 'mon'],
  ['tuesday', 'tue', 'tues'],
  ['wednesday', 'wed', 'weds'],
  ['thursday', 'thu', 'thur', 'thurs'],
  ['friday', 'fri'],
  ['saturday', 'sat'],
  ['sunday', 'sun'],
] as const

/** 1 Monday to 7 Sunday. */
export const weekday: Parser<number> = token(text => {
  const found = WEEKDAYS.findIndex(names => names.some(name => name === text))
  return found < 0 ? undefined : found + 1
})

const part: Parser<DayPart> = word('morning', 'afternoon', 'evening', 'night') as Parser<DayPart>

export type Parted = Extract<DaySaid, { readonly kind: 'none' | 'offset' | 'weekday' }>

export const withPart = (day: Parted, said: DayPart | undefined): DaySaid =>
  said === undefined ? day : { ...day, part: said }

/** A day said beside a clock time: "yesterday", "last night", "this morning", "on Friday", "in the afternoon". */
const day: Parser<DaySaid> = alt(
  map(alt(phrase('last night'), phrase('yesterday night')), () => ({ kind: 'last-night' as const })),
  map(alt(phrase('tonight'), phrase('this night')), () => ({ kind: 'tonight' as const })),
  map(phrase('today'), () => ({ kind: 'offset' as const, days: 0 })),
  map(seq(word('this'), word('morning', 'afternoon', 'evening') as Parser<DayPart>), ([, said]) =>
    withPart({ kind: 'offset', days: 0 }, said),
  ),
  map(seq(word('yesterday'), opt(word('morning', 'afternoon', 'evening') as Parser<DayPart>)), ([, said]) =>
    withPart({ kind: 'offset', days: -1 }, said),
  ),
  map(phrase('last evening'), () => ({ kind: 'offset' as const, days: -1, part: 'evening' as const })),
  map(seq(word('ereyesterday'), opt(part)), ([, said]) => withPart({ kind: 'offset', days: -2 }, said)),
  map(seq(opt(word('on')), weekday, opt(part)), ([, found, said]) =>
    withPart({ kind: 'weekday', weekday: found }, said),
  ),
  map(seq(word('in'), word('morning', 'afternoon', 'evening', 'night') as Parser<DayPart>), ([, said]) => ({
    kind: 'none' as const,
    part: said,
  })),
  map(phrase('at night'), () => ({ kind: 'none' as const, part: 'night' as const })),
)

const nearness: Parser<Nearness> = alt(
  map(alt(phrase('just before'), phrase('shortly before'), phrase('a bit before')), () => 'just-before' as const),
  map(
    alt(phrase('just after'), phrase('shortly after'), phrase('a bit after'), phrase('just past'), phrase('just gone')),
    () => 'just-after' as const,
  ),
  map(alt(phrase('after'), phrase('later than'), phrase('gone')), () => 'after' as const),
  map(alt(phrase('before'), phrase('earlier than'), phrase('by')), () => 'before' as const),
)

interface Mark {
  readonly nearness: Nearness
  readonly isMarked: boolean
}

const mark: Parser<Mark> = map(
  seq(opt(word('at', 'since', 'from')), opt(word(HEDGE)), opt(nearness), opt(word('at')), opt(word(HEDGE))),
  ([at, hedge, near, secondAt, secondHedge]) => ({
    nearness: near ?? 'at',
    isMarked: [at, hedge, near, secondAt, secondHedge].some(said => said !== undefined),
  }),
)

const none: DaySaid = { kind: 'none' }

/** A clock time with its marks, without a day; a day beside it marks a bare number too ("10 last night"). */
function clockBeside(hasDay: boolean): Parser<{ readonly clock: ClockSaid; readonly nearness: Nearness }> {
  return (words, from) =>
    mark(words, from).flatMap(({ value, to }) =>
      clockCore(hasDay || value.isMarked)(words, to).map(found => ({
        value: { clock: found.value, nearness: value.nearness },
        to: found.to,
      })),
    )
}

const marked = clockBeside(false)
const dated = clockBeside(true)

/** A clock time with a bare number allowed: for the ends of a range. */
export const clockInRange: Parser<ClockSaid> = map(
  seq(opt(word(HEDGE)), opt(word('at')), clockCore(true)),
  ([, , clock]) => clock,
)

/** A clock time that stands by itself: an unmarked bare number is none. */
export const clockAlone: Parser<ClockSaid> = clockCore(false)

/** The day, when one is said before or after a clock time. */
export const daySaid: Parser<DaySaid> = day

/** "yesterday at 9 in the evening": a day without a part of it, and a part without a day. */
export function withBoth(
  found: Pick<ClockPhrase, 'clock' | 'nearness'>,
  first: DaySaid,
  second: DaySaid,
): ClockPhrase | undefined {
  const [part, onDay] = first.kind === 'none' ? [first, second] : [second, first]
  if (part.kind !== 'none' || part.part === undefined) return undefined
  if (onDay.kind !== 'offset' && onDay.kind !== 'weekday') return undefined
  return onDay.part === undefined ? { ...found, day: withPart(onDay, part.part) } : undefined
}

/** A clock time, with the day before it, after it or unsaid. */
export const clockPhrase: Parser<ClockPhrase> = alt(
  map(marked, found => ({ ...found, day: none })),
  map(seq(dated, opt(word(HEDGE)), day), ([found, , said]) => ({ ...found, day: said })),
  map(seq(day, dated), ([said, found]) => ({ ...found, day: said })),
  map(seq(day, dated, day), ([first, found, second]) => withBoth(found, first, second)),
  map(seq(dated, day, day), ([found, first, second]) => withBoth(found, first, second)),
)
