/** How each value of *Settings* is asked for, filled with what stands there. */
import type { Wording } from '../channels/web-page.ts'
import { type Definition, isSettingId, settingDefinitions } from '../config/setting-definitions.ts'
import { itemsWritten, LENGTH_UNITS, lengthWritten, plainLength, valueWords } from '../config/value-words.ts'
import type { ChangeKind } from '../http/console/change-page.ts'
import type { LengthUnit, ValueField } from '../http/console/value-field.ts'

interface Said {
  readonly wording: Wording
  readonly language: string
}

/** Units of lengths as a form offers them. */
export const lengthUnits = (wording: Wording): readonly LengthUnit[] =>
  LENGTH_UNITS.map(unit => ({
    value: unit,
    label: wording(`unit-${unit}`),
    written: lengthWritten({ count: 0, unit }).replace('0', '#'),
  }))

/** Undefined where what stands there is written in a form that no field has: it is then typed as it is written. */
export function valueFieldOf(
  kind: ChangeKind,
  { id = '', value = '' }: Readonly<Record<string, string>>,
  said: Said,
): ValueField | undefined {
  switch (kind) {
    case 'setting':
      return isSettingId(id) ? settingField(value, settingDefinitions[id], said) : undefined
    case 'retention':
      return lengthsField(value, ['day', 'week'], said)
    case 'hours':
    case 'date':
      return spansField(value)
    default:
      return undefined
  }
}

function settingField(value: string, definition: Definition, said: Said): ValueField | undefined {
  switch (definition.kind) {
    case 'switch':
      return choiceField(value, ['off', 'on'], definition, said)
    case 'answer':
      return choiceField(value, ['yes', 'no'], definition, said)
    case 'length':
    case 'steps':
      return lengthsField(value, ['second', 'minute', 'hour', 'day', 'week'], said)
    case 'calendar':
      return lengthsField(value, ['day', 'week', 'month'], said)
    case 'number':
    case 'range':
      return { kind: 'numbers', numbers: itemsWritten(value), unit: definition.unit ?? '' }
  }
}

function choiceField(
  chosen: string,
  values: readonly string[],
  definition: Definition,
  { language }: Said,
): ValueField {
  return {
    kind: 'choice',
    chosen,
    choices: values.map(value => ({ value, label: valueWords(value, definition, language) })),
  }
}

function lengthsField(
  value: string,
  units: readonly (typeof LENGTH_UNITS)[number][],
  { wording }: Said,
): ValueField | undefined {
  const lengths = itemsWritten(value).map(plainLength)
  const filled = lengths.flatMap(each =>
    each === undefined || !units.includes(each.unit) ? [] : [{ count: String(each.count), unit: each.unit }],
  )
  if (value !== '' && filled.length < lengths.length) return undefined
  const offered = lengthUnits(wording).filter(({ value: unit }) => units.some(each => each === unit))
  return { kind: 'lengths', lengths: value === '' ? [{ count: '', unit: units[0] ?? '' }] : filled, units: offered }
}

function spansField(value: string): ValueField | undefined {
  const none = { from: '', until: '' }
  const spans = value === '' || value === 'closed' ? [] : value.split(',').map(each => each.trim().split(/[-–]/))
  if (spans.length > 2 || spans.some(span => span.length !== 2)) return undefined
  const filled = spans.map(([from = '', until = '']) => ({ from: from.trim(), until: until.trim() }))
  return { kind: 'spans', spans: [filled[0] ?? none, filled[1] ?? none] }
}
