/** Typed numbers and telephone numbers. */
import type { CountryCode } from 'libphonenumber-js/max'
import { parsePhoneNumberFromString } from 'libphonenumber-js/max'
import { isUnsure, type Read, UNSURE } from './choice.ts'
import type { Lexicon } from './lexicon.ts'
import type { Reading } from './pattern.ts'
import { firstSaid } from './phrase.ts'
import { temperatureRead } from './temperature.ts'

export type Region = CountryCode

/** The fact whose number has a scale. */
const TEMPERATURE = 'temperature'

const NUMBER = /(?<![\p{L}\d.,])([-+]?\d{1,9}(?:[.,·]\d{1,6})?)(?!\d)(?:\s{0,3}([\p{L}%°]{1,20}))?/gu

/**
 * One number: digits with a point, comma or raised point, or one number word. Two different numbers ("5 or 6",
 * "5-6") and none are `number-unclear`, and so is one of another unit ("5 ml" for a pH); one outside the fact's bounds
 * (inclusive) is `number-impossible`.
 */
export function numberIn(plain: string, reading: Reading, fact: string, lexicon: Lexicon): Read {
  if (fact === TEMPERATURE) return temperatureRead(plain, lexicon)
  const bounds = lexicon.numberFacts[fact] ?? { min: 0, max: 1_000_000, units: [] }
  const found = [...plain.replaceAll(/(?<=\d)\s*[–—-]\s*(?=\d)/gu, ' ').matchAll(NUMBER)]
  const isOther = (unit: string | undefined): boolean =>
    unit !== undefined && lexicon.units.has(unit) && !bounds.units.includes(unit)
  if (found.some(([, , unit]) => isOther(unit))) return { kind: 'misread', reason: 'number-unclear' }
  const digits = found.map(([, digits = '']) => Number(digits.replace(/[,·]/, '.')))
  const spoken = reading.tokens.flatMap(token => lexicon.answers.numbers.get(token.word) ?? [])
  const values = [...new Set(digits.length > 0 ? digits : spoken)]
  const [value] = values
  if (value === undefined || values.length > 1) return { kind: 'misread', reason: 'number-unclear' }
  if (value < bounds.min || value > bounds.max) return { kind: 'misread', reason: 'number-impossible' }
  return { kind: 'answer', answer: { kind: 'number', value } }
}

/** Characters of a message in which a telephone number is looked for. */
const PHONE_TEXT_AT_MOST = 200

/**
 * A telephone number in E.164, or the wish to be written to only. Numbers that no network could ring, emergency and
 * short numbers, and two numbers at once are refused. A number in a range the data do not know as given out is kept
 * when its length is possible: it is read back by its last two digits.
 */
export function phoneIn(plain: string, reading: Reading, region: Region, lexicon: Lexicon): Read {
  if (firstSaid(lexicon.answers.writeOnly, reading, lexicon) !== undefined) return writeOnly
  const text = plain.slice(0, PHONE_TEXT_AT_MOST)
  const runs = (text.match(/\+?\(?\d[\d\s().\-/]{5,24}\d/g) ?? []).map(run => run.trim())
  const numbers = new Set(runs.flatMap(run => e164Of(run, region)))
  const [number] = numbers
  if (numbers.size > 1) return { kind: 'misread', reason: 'phone-two' }
  if (number !== undefined) return { kind: 'answer', answer: { kind: 'phone', number } }
  return isUnsure(reading, lexicon) ? UNSURE : { kind: 'misread', reason: 'phone-unclear' }
}

const writeOnly: Read = { kind: 'answer', answer: { kind: 'phone', number: 'write-only' } }

function e164Of(run: string, region: Region): readonly string[] {
  const parsed = parsePhoneNumberFromString(run, region)
  return parsed?.isPossible() === true ? [parsed.number] : []
}
