/** The page *Settings*, worked out: numbers families see, hospitals, hours, retention, and every figure with what it rests on. */
import type { Action } from '../accounts/authority.ts'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { readClinic } from '../config/clinic-file.ts'
import { type Definition, isSettingId, type SettingId, settingDefinitions } from '../config/setting-definitions.ts'
import { settingWords } from '../config/setting-words.ts'
import { dateText, lengthWords, valueWords } from '../config/value-words.ts'
import type { PlacedYaml } from '../flow/yaml-places.ts'
import type { ChangeForm, ChangeKind } from '../http/console/change-page.ts'
import type { SettingRow, SettingsView } from '../http/console/settings-page.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { numberText } from '../oncall/number-text.ts'
import { weekdays } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'
import { valueFieldOf } from './value-fields.ts'

export interface SettingsSources {
  readonly line: Line
  readonly wording: Wording
  /** The clinic's file as it lies there. */
  readonly text: string
  readonly at: Instant
}

type Part = Readonly<Record<string, unknown>>

/** What the file itself says, as it is written. */
function written({ text, at }: SettingsSources): Part {
  const yaml: PlacedYaml | undefined = readClinic('clinic.yaml', text, at).yaml
  return (yaml?.value ?? {}) as Part
}

const partOf = (of: Part, key: string): Part => (of[key] ?? {}) as Part

export function settingsView(sources: SettingsSources, may: (action: Action) => boolean): Omit<SettingsView, 'undo'> {
  const { line, wording } = sources
  const file = written(sources)
  const changes = (kind: ChangeKind, values: Record<string, string>, action: Action = 'change-clinic') =>
    may(action) ? { change: `/settings/change/${kind}?${new URLSearchParams(values).toString()}` } : {}
  const { emergency, clinic, transport, hospitals } = familyNumbers(line.clinic, line.language)
  const number = (which: string, label: string, of: string): SettingRow => ({
    label,
    value: numberText(of),
    ...changes('families-number', { which, number: of }),
  })
  return {
    numbers: [
      number('emergency', wording('number-emergency'), emergency.number),
      number('families-ring', line.clinic.name, clinic.number),
      number('transport', wording('print-transport'), transport.number),
    ],
    hospitals: hospitals.map(({ id, name, address, number: { number: ring } }) => ({
      label: name,
      value: numberText(ring),
      means: address,
      ...changes('hospital', { id, number: ring }),
    })),
    hours: [
      ...hoursOf(partOf(file, 'opening'), wording, changes),
      ...datesOf(partOf(file, 'opening'), sources, changes),
      newDate(wording, changes),
    ],
    kept: keptOf(partOf(file, 'clinic').retention, sources, changes),
    groups: groupsOf(partOf(file, 'settings'), sources, changes),
  }
}

type Changes = (kind: ChangeKind, values: Record<string, string>, action?: Action) => { readonly change?: string }

const textOf = (value: unknown): string => (Array.isArray(value) ? value.join(', ') : String(value))

function hoursOf(opening: Part, wording: Wording, changes: Changes): readonly SettingRow[] {
  return weekdays.map(day => {
    const value = opening[day]
    const says = value === undefined ? wording('settings-closed') : textOf(value)
    return {
      label: wording(`settings-day-${day}`),
      value: says,
      ...changes('hours', { day, value: value === undefined ? 'closed' : textOf(value) }),
    }
  })
}

function datesOf(opening: Part, { wording, line }: SettingsSources, changes: Changes): readonly SettingRow[] {
  return Object.entries(partOf(opening, 'dates')).map(([date, value]) => ({
    label: dateText(date, line.language),
    value: value === 'closed' ? wording('settings-closed') : textOf(value),
    ...changes('date', { date, value: textOf(value) }),
  }))
}

const newDate = (wording: Wording, changes: Changes): SettingRow => ({
  label: wording('settings-new-date'),
  value: wording('settings-new-date-how'),
  ...changes('date', {}),
})

function keptOf(value: unknown, { wording, line: { language } }: SettingsSources, changes: Changes): SettingRow {
  const said = typeof value === 'string' ? value : 'P90D'
  return {
    label: wording('settings-retention'),
    value: lengthWords(said, language),
    means: wording('settings-retention-means'),
    ...(value === undefined ? { beside: wording('settings-as-shipped') } : {}),
    ...changes('retention', { value: said }),
  }
}

/** Which settings stand together, in the order a clinic goes through them; the rest under the last. */
const GROUPS: readonly (readonly [title: string, starts: readonly string[]])[] = [
  ['settings-group-locks', ['home-replacement', 'hold-open', 'family-ph']],
  ['settings-group-time', ['tract-', 'first-days', 'closure-', 'device-change']],
  ['settings-group-limits', ['fever-', 'no-urine', 'flush-', 'balloon-', 'ph-']],
  ['settings-group-ladder', ['ladder-', 'asked-again', 'left-', 'arrival-', 'promise-']],
  ['settings-group-other', ['']],
]

function groupsOf(settings: Part, sources: SettingsSources, changes: Changes): SettingsView['groups'] {
  const left = new Set(Object.keys(settingDefinitions) as SettingId[])
  return GROUPS.map(([title, starts]) => {
    const ids = [...left].filter(id => starts.some(start => id.startsWith(start)))
    for (const id of ids) left.delete(id)
    return { title: sources.wording(title), rows: ids.map(id => settingRow(id, settings[id], sources, changes)) }
  }).filter(({ rows }) => rows.length > 0)
}

function settingRow(
  id: SettingId,
  value: unknown,
  { wording, line: { language } }: SettingsSources,
  changes: Changes,
): SettingRow {
  const definition: Definition = settingDefinitions[id]
  const shipped = shippedText(definition)
  const own = value === undefined ? undefined : Array.isArray(value) ? `[${value.join(', ')}]` : String(value)
  const { name, means } = settingWords(id, language)
  return {
    label: name,
    value: valueWords(own ?? shipped, definition, language),
    means,
    ...besideOf(own, shipped, valueWords(shipped, definition, language), wording),
    ...changes('setting', { id, value: own ?? shipped }, 'change-settings'),
  }
}

/** What it was shipped with, where the clinic has another value or wrote none. */
function besideOf(
  own: string | undefined,
  shipped: string,
  inWords: string,
  wording: Wording,
): Pick<SettingRow, 'beside'> {
  if (own === undefined) return { beside: wording('settings-as-shipped') }
  return own === shipped ? {} : { beside: wording('settings-shipped', { answer: inWords }) }
}

const shippedText = ({ shipped }: Definition): string =>
  Array.isArray(shipped) ? `[${shipped.join(', ')}]` : String(shipped)

/** The form of one of these, with what there is to know before it is changed. */
export function settingForm(
  kind: ChangeKind,
  given: Readonly<Record<string, string>>,
  seen: string,
  { line, wording }: Pick<SettingsSources, 'line' | 'wording'>,
): ChangeForm {
  const value = valueFieldOf(kind, given, { wording, language: line.language })
  return {
    ...{ kind, seen, people: [], roles: [], shifts: [], values: given },
    ...(value === undefined ? {} : { value }),
    notes: notesOn(kind, given, wording, line.language),
  }
}

function notesOn(
  kind: ChangeKind,
  { id = '', day = '' }: Readonly<Record<string, string>>,
  wording: Wording,
  language: string,
): readonly string[] {
  switch (kind) {
    case 'setting':
      return isSettingId(id) ? notesOnSetting(id, wording, language) : []
    case 'hours':
      return [wording(`settings-day-${day}`), wording('settings-hours-how')]
    case 'date':
      return [wording('settings-date-how')]
    case 'retention':
      return [wording('settings-retention-means')]
    default:
      return [wording('settings-number-means')]
  }
}

function notesOnSetting(id: SettingId, wording: Wording, language: string): readonly string[] {
  const definition: Definition = settingDefinitions[id]
  const { name, means } = settingWords(id, language)
  const says = (written: string | number) => {
    const kind = definition.kind === 'steps' ? 'length' : definition.kind === 'range' ? 'number' : definition.kind
    return valueWords(String(written), { ...definition, kind }, language)
  }
  const { least, most } = definition
  return [
    `${name}: ${means}.`,
    wording('settings-shipped', { answer: valueWords(shippedText(definition), definition, language) }),
    ...(least === undefined || most === undefined
      ? []
      : [wording('settings-bounds', { from: says(least), until: says(most) })]),
    wording('settings-warning'),
  ]
}
