/** Typed numbers and telephone numbers. */
import type { CountryCode } from 'libphonenumber-js/max'
import { parsePhoneNumberFromString } from 'libphonenumber-js/max'
import { isUnsure, plainYesNo, type Read, UNSURE } from './choice.ts'
import type { Lexicon, NumberFact } from './lexicon.ts'
import { type Reading, readingOf } from './pattern.ts'
import { firstSaid } from './phrase.ts'
import { temperatureRead } from './temperature.ts'
import { tokensOf } from './token.ts'

export type Region = CountryCode

/** The fact whose number has a scale. */
const TEMPERATURE = 'temperature'

const NUMBER = /(?<![\p{L}\d.,])([-+]?\d{1,9}(?:[.,·]\d{1,6})?)(?!\d)(?:\s{0,3}([\p{L}%°]{1,20}))?/gu

/**
 * One number: digits with a point, comma or raised point, or one number word. Two different numbers ("5 or 6",
 * "5-6") and none are `number-unclear`; one of another unit ("5 ml" for a pH) is `number-unit`; one outside the fact's bounds
 * (inclusive) is `number-impossible`. A bare one that may be of another unit too (14: mL, or a tube's gauge) is `number-unit`: it
 * is said back and asked for with its unit.
 */
export function numberIn(plain: string, reading: Reading, fact: string, lexicon: Lexicon): Read {
  if (fact === TEMPERATURE) return temperatureRead(plain, lexicon)
  const bounds = lexicon.numberFacts[fact] ?? ANY_NUMBER
  const found = [...plain.replaceAll(/(?<=\d)\s*[–—-]\s*(?=\d)/gu, ' ').matchAll(NUMBER)]
  const isOther = (unit: string | undefined): boolean =>
    unit !== undefined && lexicon.units.has(unit) && !bounds.units.includes(unit)
  if (found.some(([, , unit]) => isOther(unit))) return { kind: 'misread', reason: 'number-unit' }
  const digits = found.map(([, digits = '']) => Number(digits.replace(/[,·]/, '.')))
  const spoken = reading.tokens.flatMap(token => lexicon.answers.numbers.get(token.word) ?? [])
  const values = [...new Set(digits.length > 0 ? digits : spoken)]
  const [value] = values
  if (value === undefined || values.length > 1) return { kind: 'misread', reason: 'number-unclear' }
  if (value < bounds.min || value > bounds.max) return { kind: 'misread', reason: 'number-impossible' }
  if (bounds.needsUnit.has(value) && !hasUnit(reading, bounds)) return { kind: 'misread', reason: 'number-unit' }
  return { kind: 'answer', answer: { kind: 'number', value } }
}

const ANY_NUMBER: NumberFact = { min: 0, max: 1_000_000, units: [], needsUnit: new Set() }

/** Whether a message names a unit that the number may be said in. */
export const hasUnit = ({ tokens }: Reading, { units }: NumberFact): boolean =>
  tokens.some(({ word }) => units.some(unit => word === unit || (word.endsWith(unit) && /^\d/.test(word))))

/** Characters of a message in which a telephone number is looked for. */
const PHONE_TEXT_AT_MOST = 200

/** What may be a telephone number: digits, with what people put between them. */
const PHONE_RUN = /\+?\(?\d[\d\s().\-/]{5,24}\d/g

/** Fewer digits are a local number, a date or a time. */
const PLAIN_DIGITS_AT_LEAST = 9

/** "2026-03-01", "3/1/2026", "1.3.2026": digits of a date, whatever stands after them. */
const DATE = /(?:19|20)\d\d[-/.\s]\d{1,2}[-/.\s]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:19|20)\d\d/

/** Words beside a number, in a message that says nothing else ("mom cell"), at most. */
const WORDS_BESIDE_AT_MOST = 2

export interface NumberBeside {
  /** In E.164. */
  readonly number: string
  /** The message without it. */
  readonly rest: string
}

/**
 * A telephone number in a message that answers another question, or none: one that is written whole, alone or with words
 * like "ring me on". Two of them, a date, and what could be anything else are left in the message.
 */
export function phoneBeside(plain: string, region: Region, lexicon: Lexicon): NumberBeside | undefined {
  const text = plain.slice(0, PHONE_TEXT_AT_MOST)
  const runs = (text.match(PHONE_RUN) ?? []).map(run => run.trim())
  const whole = runs.filter(run => run.replace(/\D/g, '').length >= PLAIN_DIGITS_AT_LEAST && !DATE.test(run))
  const [run] = whole
  const [number] = run === undefined ? [] : e164Of(run, region)
  if (run === undefined || number === undefined || whole.length > 1) return undefined
  const rest = plain.replace(run, ' ')
  const reading = readingOf(tokensOf(rest), lexicon.vocabulary)
  const isGiven =
    reading.tokens.length <= WORDS_BESIDE_AT_MOST || firstSaid(lexicon.answers.ringOn, reading, lexicon) !== undefined
  return isGiven ? { number, rest } : undefined
}

/**
 * A telephone number in E.164, or the wish to be written to only. Numbers that no network could ring, emergency and
 * short numbers, and two numbers at once are refused; "no", and that there is none, is `phone-none`. A number in a range the data do not know as given out is kept
 * when its length is possible: it is read back by its last two digits.
 */
export function phoneIn(plain: string, reading: Reading, region: Region, lexicon: Lexicon): Read {
  const says = (phrases: Lexicon['answers']['noPhone']): boolean => firstSaid(phrases, reading, lexicon) !== undefined
  const isMissing = says(lexicon.answers.noPhone)
  if (!isMissing && says(lexicon.answers.writeOnly)) return writeOnly
  const text = plain.slice(0, PHONE_TEXT_AT_MOST)
  const runs = (text.match(PHONE_RUN) ?? []).map(run => run.trim())
  const numbers = new Set(runs.flatMap(run => e164Of(run, region)))
  const [number] = numbers
  if (numbers.size > 1) return { kind: 'misread', reason: 'phone-two' }
  if (number !== undefined) return { kind: 'answer', answer: { kind: 'phone', number } }
  if (isUnsure(reading, lexicon)) return UNSURE
  const hasNone = isMissing || plainYesNo(reading, lexicon) === false
  return { kind: 'misread', reason: hasNone ? 'phone-none' : 'phone-unclear' }
}

const writeOnly: Read = { kind: 'answer', answer: { kind: 'phone', number: 'write-only' } }

function e164Of(run: string, region: Region): readonly string[] {
  const parsed = parsePhoneNumberFromString(run, region)
  return parsed?.isPossible() === true ? [parsed.number] : []
}
