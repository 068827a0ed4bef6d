/** Numbers a message says in passing: a temperature, volumes of balloon water, an age. What is unclear is left to be asked. */
import type { Answer } from '../case/answer.ts'
import type { Lexicon } from './lexicon.ts'
import { type Found, findsOf, type Pattern, type Reading } from './pattern.ts'
import { hasUnit } from './quantity.ts'
import { candidatesIn, celsiusOf } from './temperature.ts'

/** Words between "fever" and its number, at most ("fever of about 101"). */
const WORDS_BETWEEN_AT_MOST = 3

/**
 * A temperature in °C: a number with a scale or degree sign, or one right after a word for it. Undefined for none, for two
 * different ones, and for one no living child has.
 */
export function temperatureSaid(plain: string, reading: Reading, lexicon: Lexicon): Answer | undefined {
  const named = candidatesIn(plain, lexicon).filter(
    ({ at, isMarked }) => isMarked || followsTemperatureWord(at, reading, lexicon),
  )
  const values = new Set(named.map(({ value, scale }) => celsiusOf(value, scale)))
  const [celsius] = values
  return values.size === 1 && celsius !== undefined ? { kind: 'number', value: celsius } : undefined
}

function followsTemperatureWord(at: number, { tokens }: Reading, { temperatureWords }: Lexicon): boolean {
  const number = tokens.findIndex(({ from }) => from === at)
  for (let place = number - 1; place >= Math.max(0, number - 1 - WORDS_BETWEEN_AT_MOST); place -= 1) {
    if (tokens[place + 1]?.gap === 'stop') return false
    if (temperatureWords.has(tokens[place]?.word ?? '')) return true
  }
  return false
}

/** A number where the fact's phrases have their #, within the fact's bounds; undefined for none and for two different ones. */
export function numberSaid(plain: string, reading: Reading, fact: string, lexicon: Lexicon): Answer | undefined {
  const bounds = lexicon.numberFacts[fact]
  const values = new Set(numbersAt(lexicon.numberPhrases[fact] ?? [], plain, reading))
  const [value] = values
  if (values.size !== 1 || value === undefined || bounds === undefined) return undefined
  if (bounds.needsUnit.has(value) && !hasUnit(reading, bounds)) return undefined
  return value >= bounds.min && value <= bounds.max ? { kind: 'number', value } : undefined
}

const DAY_MS = 86_400_000
/** Shortest and longest days of a unit: an age is read at its younger end. */
const DAYS = { days: [1, 1], weeks: [7, 7], months: [30, 31], years: [365, 366] } as const

/** An age, from the birthday it names to the next: "9 months old". Undefined for none and for two different ones. */
export function ageSaid(plain: string, reading: Reading, lexicon: Lexicon): Answer | undefined {
  const ages = (['days', 'weeks', 'months', 'years'] as const).flatMap(unit =>
    [...new Set(numbersAt(lexicon.ages[unit], plain, reading))].map(value => ({ unit, value })),
  )
  const [age, ...others] = ages
  if (age === undefined || others.length > 0) return undefined
  const [shortest, longest] = DAYS[age.unit]
  const whole = Math.floor(age.value)
  return { kind: 'length', atLeastMs: whole * shortest * DAY_MS, atMostMs: (whole + 1) * longest * DAY_MS }
}

function numbersAt(patterns: readonly Pattern[], plain: string, reading: Reading): number[] {
  return patterns.flatMap(pattern =>
    [...findsOf(pattern, reading)].flatMap(found => numberAt(found, plain, reading) ?? []),
  )
}

/** The number written where the find has its first digits, with what follows a point or comma. */
function numberAt(found: Found, plain: string, { tokens }: Reading): number | undefined {
  const token = found.places.map(at => tokens[at]).find(each => each !== undefined && /^\d+$/.test(each.word))
  if (token === undefined) return undefined
  const before = /\d[.,]$/.exec(plain.slice(Math.max(0, token.from - 12), token.from))
  if (before !== null) return undefined
  return Number((/^\d+(?:[.,]\d+)?/.exec(plain.slice(token.from, token.from + 12))?.[0] ?? '').replace(',', '.'))
}
