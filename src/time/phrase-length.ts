import { type Count, countAt, partAfter, wholeAt } from './phrase-number.ts'
import { afterAny, type Part, type Tokens } from './phrase-tokens.ts'

/** Lengths of time in words: "an hour and a half", "20mins", "1h30", "2-3 hours". */

export type Unit = 'second' | 'minute' | 'hour' | 'day' | 'week' | 'month' | 'year'

/** A month counts as 30 days and a year as 365. */
export const UNIT_MS: Readonly<Record<Unit, number>> = {
  second: 1000,
  minute: 60_000,
  hour: 3_600_000,
  day: 86_400_000,
  week: 7 * 86_400_000,
  month: 30 * 86_400_000,
  year: 365 * 86_400_000,
}

/** A length as said: from least to most, in milliseconds, both inclusive. */
export interface Length {
  readonly leastMs: number
  readonly mostMs: number
  /** The smallest unit that was said. */
  readonly unit: Unit
  /** Two ends were said ("2 to 3 hours"). */
  readonly isRange: boolean
  readonly loose: boolean
}

const UNITS: ReadonlyMap<string, readonly [Unit, number]> = new Map(
  Object.entries({
    second: 's sec secs second seconds',
    minute: 'm min mins minute minutes minuets minuts',
    hour: 'h hr hrs hour hours',
    day: 'day days',
    week: 'week weeks wk wks',
    month: 'month months mth mths',
    year: 'year years yr yrs',
  }).flatMap(([unit, words]) => words.split(' ').map(word => [word, [unit as Unit, 1]] as const)),
)
const FORTNIGHT: readonly [Unit, number] = ['week', 2]

function unitAt(tokens: Tokens, at: number): Part<readonly [Unit, number]> | undefined {
  const word = tokens[at] ?? ''
  const unit = word === 'fortnight' || word === 'fortnights' ? FORTNIGHT : UNITS.get(word)
  return unit === undefined ? undefined : { value: unit, next: at + 1 }
}

const RANGE_WORDS = ['to', '-', 'or', 'and', ', or']

/** A length or a range of two; `and` joins two only after `between`. */
export function lengthAt(tokens: Tokens, at: number): Part<Length> | undefined {
  const start = afterAny(tokens, at, ['between', 'anywhere between', 'somewhere between', 'from', 'anywhere from']) ?? at
  const between = tokens[start - 1] === 'between' && start > at
  const range = countRangeAt(tokens, start, between) ?? lengthRangeAt(tokens, start, between) ?? orTwoAt(tokens, start)
  if (range !== undefined) return range
  return start === at ? singleAt(tokens, at) : undefined
}

function joinAt(tokens: Tokens, at: number, between: boolean): number | undefined {
  const next = afterAny(tokens, at, RANGE_WORDS)
  if (next === undefined) return undefined
  return tokens[at] === 'and' && !between ? undefined : next
}

/** "2-3 hours", "twenty to thirty minutes". */
function countRangeAt(tokens: Tokens, at: number, between: boolean): Part<Length> | undefined {
  const first = countAt(tokens, at)
  const join = first === undefined ? undefined : joinAt(tokens, first.next, between)
  if (first === undefined || join === undefined) return undefined
  const second = countAt(tokens, join)
  const unit = second === undefined ? undefined : unitAt(tokens, second.next)
  if (second === undefined || unit === undefined) return undefined
  const [name, times] = unit.value
  const ms = UNIT_MS[name] * times
  return rangeOf(first.value.least * ms, second.value.most * ms, name, unit.next)
}

/** "half an hour to an hour", "20 minutes or an hour". */
function lengthRangeAt(tokens: Tokens, at: number, between: boolean): Part<Length> | undefined {
  const first = singleAt(tokens, at)
  const join = first === undefined ? undefined : joinAt(tokens, first.next, between)
  if (first === undefined || join === undefined) return undefined
  const second = singleAt(tokens, join)
  if (second === undefined) return undefined
  return rangeOf(first.value.leastMs, second.value.mostMs, second.value.unit, second.next)
}

/** "an hour or two", "a minute or two". */
function orTwoAt(tokens: Tokens, at: number): Part<Length> | undefined {
  const first = singleAt(tokens, at)
  if (first === undefined) return undefined
  const next = afterAny(tokens, first.next, ['or two', 'or 2', 'or so or two'])
  const ms = first.value.leastMs
  const isOne = ms === UNIT_MS[first.value.unit]
  return next === undefined || !isOne ? undefined : rangeOf(ms, 2 * ms, first.value.unit, next)
}

/** A range said from the longer to the shorter is a slip or something else: not read. */
function rangeOf(leastMs: number, mostMs: number, unit: Unit, next: number): Part<Length> | undefined {
  return leastMs > mostMs ? undefined : { value: { leastMs, mostMs, unit, isRange: true, loose: false }, next }
}

function singleAt(tokens: Tokens, at: number): Part<Length> | undefined {
  return quartersAt(tokens, at) ?? countedAt(tokens, at) ?? bareUnitAt(tokens, at)
}

/** "a quarter of an hour", "three quarters of an hour", "quarter hour". */
function quartersAt(tokens: Tokens, at: number): Part<Length> | undefined {
  const three = afterAny(tokens, at, ['three quarters', 'three quarter', '3 quarters', '3 quarter'])
  const start = three ?? afterAny(tokens, at, ['a quarter', 'quarter', 'one quarter'])
  if (start === undefined) return undefined
  const unit = unitAt(tokens, afterAny(tokens, start, ['of an', 'of a', 'an']) ?? start)
  if (unit?.value[0] !== 'hour') return undefined
  const ms = (three === undefined ? 0.25 : 0.75) * UNIT_MS.hour
  return { value: plain({ least: ms, most: ms, loose: false }, 'hour'), next: unit.next }
}

function plain({ least, most, loose }: Count, unit: Unit): Length {
  return { leastMs: least, mostMs: most, unit, isRange: false, loose }
}

function countedAt(tokens: Tokens, at: number): Part<Length> | undefined {
  const clock = /^(\d{1,2}):([0-5]\d)$/.exec(tokens[at] ?? '')
  const clockUnit = clock === null ? undefined : unitAt(tokens, at + 1)
  if (clock !== null && clockUnit?.value[0] === 'hour') {
    const ms = Number(clock[1]) * UNIT_MS.hour + Number(clock[2]) * UNIT_MS.minute
    return { value: plain({ least: ms, most: ms, loose: false }, 'minute'), next: clockUnit.next }
  }
  const count = countAt(tokens, at)
  const unit = count === undefined ? undefined : unitAt(tokens, count.next)
  if (count === undefined || unit === undefined) return undefined
  return withRest(tokens, unit, count.value)
}

/** "hour and a half ago", "hour ago": the article is left out. */
function bareUnitAt(tokens: Tokens, at: number): Part<Length> | undefined {
  const word = tokens[at] ?? ''
  if (!['hour', 'week', 'month', 'year', 'fortnight'].includes(word)) return undefined
  const unit = unitAt(tokens, at)
  return unit === undefined ? undefined : withRest(tokens, unit, { least: 1, most: 1, loose: false })
}

/** What may follow number and unit: "and a half", "30" (after hours), "and 20 minutes". */
function withRest(tokens: Tokens, { value: [unit, times], next }: Part<readonly [Unit, number]>, count: Count): Part<Length> {
  const ms = UNIT_MS[unit] * times
  const scaled = { least: count.least * ms, most: count.most * ms, loose: count.loose }
  const half = partAfter(tokens, next)
  if (half !== undefined && times === 1) return { value: plain(plus(scaled, half.value * ms), unit), next: half.next }
  const smaller = smallerAt(tokens, next, unit)
  if (smaller === undefined) return { value: plain(scaled, unit), next }
  return { value: plain(plus(scaled, smaller.value.ms), smaller.value.unit), next: smaller.next }
}

function plus({ least, most, loose }: Count, more: number): Count {
  return { least: least + more, most: most + more, loose }
}

function smallerAt(tokens: Tokens, at: number, than: Unit): Part<{ ms: number; unit: Unit }> | undefined {
  const start = afterAny(tokens, at, ['and', ',']) ?? at
  const whole = wholeAt(tokens, start)
  if (whole === undefined) return undefined
  const unit = unitAt(tokens, whole.next)
  if (unit !== undefined) {
    const ms = whole.value * UNIT_MS[unit.value[0]] * unit.value[1]
    return ms < UNIT_MS[than] ? { value: { ms, unit: unit.value[0] }, next: unit.next } : undefined
  }
  if (than !== 'hour' || start !== at || whole.value < 1 || whole.value > 59) return undefined
  return { value: { ms: whole.value * UNIT_MS.minute, unit: 'minute' }, next: whole.next }
}
