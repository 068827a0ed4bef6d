import { describe, expect, it } from 'vitest'
import { lengthUnits, valueFieldOf } from '../../src/cli/value-fields.ts'
import { type SettingId, settingDefinitions, settingIds } from '../../src/config/setting-definitions.ts'
import { settingWords } from '../../src/config/setting-words.ts'
import { valueWords } from '../../src/config/value-words.ts'
import { type ValueField, valueIn } from '../../src/http/console/value-field.ts'

const wording = (id: string): string => id
const said = { wording, language: 'en' }
const units = lengthUnits(wording)
const written = (shipped: unknown): string => (Array.isArray(shipped) ? `[${shipped.join(', ')}]` : String(shipped))

/** The fields of a form as it stands open. */
function fieldsOf(field: ValueField): Record<string, string> {
  const numbered = (names: readonly (readonly [string, string])[], index: number) =>
    names.map(([name, value]) => [`${name}-${index + 1}`, value] as const)
  switch (field.kind) {
    case 'choice':
      return { value: field.chosen }
    case 'lengths':
      return Object.fromEntries(
        field.lengths.flatMap(({ count, unit }, index) =>
          numbered([['count', count] as const, ['unit', unit] as const], index),
        ),
      )
    case 'numbers':
      return Object.fromEntries(field.numbers.flatMap((number, index) => numbered([['number', number]], index)))
    case 'spans':
      return Object.fromEntries(
        field.spans.flatMap(({ from, until }, index) =>
          numbered([['from', from] as const, ['until', until] as const], index),
        ),
      )
  }
}

describe('a value is asked for in words and parts, and comes back as the clinic’s file writes it', () => {
  it.each(settingIds)('%s, as it is shipped', id => {
    const value = written(settingDefinitions[id].shipped)
    const field = valueFieldOf('setting', { id, value }, said)
    if (field === undefined) throw new Error('nobody can fill it in')
    expect(valueIn(fieldsOf(field), units)).toBe(value)
  })

  it.each([
    ['08:00-18:00', '08:00-18:00'],
    ['08:00-12:00, 13:00-17:00', '08:00-12:00, 13:00-17:00'],
    ['closed', 'closed'],
  ])('hours %s', (value, back) => {
    const field = valueFieldOf('hours', { value }, said)
    expect(field && valueIn(fieldsOf(field), units)).toBe(back)
  })

  it.each([
    ['setting', { id: 'left-check', value: 'PT1H30M' }],
    ['retention', { value: 'P1Y' }],
    ['hours', { value: '08:00-09:00, 10:00-11:00, 12:00-13:00' }],
  ] as const)('what no field can hold is typed as the file has it: %s %o', (kind, given) => {
    expect(valueFieldOf(kind, given, said)).toBeUndefined()
  })

  it.each([
    [{ 'count-1': '', 'unit-1': 'minute' }],
    [{ 'count-1': '1.5', 'unit-1': 'minute' }],
    [{ 'count-1': '5', 'unit-1': 'fortnight' }],
    [{ 'from-1': '08:00', 'until-1': '' }],
    [{ 'number-1': '5', 'number-2': '' }],
  ])('what is missing or no value counts as nothing filled in: %o', fields => {
    expect(valueIn(fields as unknown as Record<string, string>, units)).toBe('')
  })
})

describe('settings in words', () => {
  it.each(['en', 'es'])('every setting has its name and meaning in "%s", no two alike', language => {
    const words = settingIds.map(id => settingWords(id, language))
    expect(new Set(words.map(({ name }) => name)).size).toBe(settingIds.length)
    expect(words.filter(({ name, means }) => name.trim() === '' || means.trim() === '')).toEqual([])
  })

  it.each<[SettingId, string, string, string]>([
    ['left-check', 'PT10M', '10 minutes', '10 minutos'],
    ['device-change-due', 'P3M', '3 months', '3 meses'],
    ['ladder-urgent', '[PT3M, PT5M, PT10M]', '3 minutes, 5 minutes, 10 minutes', '3 minutos, 5 minutos, 10 minutos'],
    ['flush-ml', '[5, 10]', '5 to 10 mL', '5 a 10 mL'],
    ['hold-open-new', 'off', 'off', 'apagado'],
    ['ph-at-most', '5', 'pH 5', 'pH 5'],
  ])('%s: %s is "%s", "%s"', (id, value, english, spanish) => {
    expect(valueWords(value, settingDefinitions[id], 'en')).toBe(english)
    expect(valueWords(value, settingDefinitions[id], 'es')).toBe(spanish)
  })
})
