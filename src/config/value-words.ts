import { DateTime } from 'luxon'
import type { Definition } from './setting-definitions.ts'

/** Values of the clinic's file as people say them: "10 minutes" for `PT10M`. Nobody at a page reads or types the file's own form. */

/** A length in one unit. `months` have no fixed length. */
export interface PlainLength {
  readonly count: number
  readonly unit: LengthUnit
}

export const LENGTH_UNITS = ['second', 'minute', 'hour', 'day', 'week', 'month'] as const
export type LengthUnit = (typeof LENGTH_UNITS)[number]

const LETTERS = { second: 'S', minute: 'M', hour: 'H', day: 'D', week: 'W', month: 'M' } as const

/** `PT10M`, `P7D`, `P3M` (three months) as one count of one unit; undefined for anything else, `PT1H30M` too. */
export function plainLength(written: string): PlainLength | undefined {
  const [, time, count, letter] = /^P(T?)(\d{1,5})([SMHDW])$/.exec(written.trim()) ?? []
  const isTime = time === 'T'
  const unit = LENGTH_UNITS.find(each => LETTERS[each] === letter && isTimeUnit(each) === isTime)
  return count === undefined || unit === undefined ? undefined : { count: Number(count), unit }
}

/** As the clinic's file writes it. */
export const lengthWritten = ({ count, unit }: PlainLength): string =>
  `P${isTimeUnit(unit) ? 'T' : ''}${count}${LETTERS[unit]}`

const isTimeUnit = (unit: LengthUnit): boolean => unit === 'second' || unit === 'minute' || unit === 'hour'

/** "10 minutes"; what is no plain length stays as it is written. */
export function lengthWords(written: string, language: string): string {
  const length = plainLength(written)
  if (length === undefined) return written
  const { count, unit } = length
  return new Intl.NumberFormat(language, { style: 'unit', unit, unitDisplay: 'long' }).format(count)
}

const SPANISH: Readonly<Record<string, string>> = { on: 'activado', off: 'apagado', yes: 'sí', no: 'no' }
const isSpanish = (language: string): boolean => language.startsWith('es')

/** The items of `[5, 10]`; one of a value that is no list. */
export const itemsWritten = (written: string): readonly string[] =>
  written
    .replace(/^\[|\]$/g, '')
    .split(',')
    .map(item => item.trim())

/** A setting's value: "off", "5 to 10 mL", "3 minutes, 5 minutes, 10 minutes". */
export function valueWords(written: string, { kind, unit }: Definition, language: string): string {
  switch (kind) {
    case 'switch':
    case 'answer':
      return isSpanish(language) ? (SPANISH[written] ?? written) : written
    case 'length':
    case 'calendar':
    case 'steps':
      return itemsWritten(written)
        .map(item => lengthWords(item, language))
        .join(', ')
    case 'number':
    case 'range':
      return numberWords(itemsWritten(written).join(isSpanish(language) ? ' a ' : ' to '), unit, language)
  }
}

/** Units that stand before their number. */
function numberWords(number: string, unit: string | undefined, language: string): string {
  if (unit === undefined) return number
  if (unit === 'pH') return `pH ${number}`
  if (unit === 'grade') return `${isSpanish(language) ? 'grado' : 'grade'} ${number}`
  return `${number} ${unit}`
}

/** `2026-12-24` as people read it: "Thursday 24 December 2026". What is no date stays as it is. */
export function dateText(date: string, language: string): string {
  const day = DateTime.fromFormat(date, 'yyyy-MM-dd', { zone: 'utc', locale: isSpanish(language) ? 'es' : 'en-GB' })
  if (!day.isValid) return date
  return day.toFormat(isSpanish(language) ? "cccc d 'de' LLLL 'de' yyyy" : 'cccc d LLLL yyyy')
}
