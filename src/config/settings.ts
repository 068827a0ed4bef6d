import { Duration } from 'luxon'
import { nearestId } from '../flow/problem.ts'
import { milliseconds } from '../time/instant.ts'
import {
  type Definition,
  isSettingId,
  type SettingId,
  type Settings,
  settingDefinitions,
  settingIds,
} from './setting-definitions.ts'

/** Reads settings as a clinic writes them, over values that hold already. */

/** One setting that cannot be taken, or two that contradict each other. */
export interface SettingFault {
  readonly code: 'UNKNOWN_SETTING' | 'SETTING_UNREADABLE' | 'SETTING_OUT_OF_RANGE' | 'SETTINGS_CONTRADICT'
  readonly id: string
  readonly found: string
  readonly expected: string
  readonly nearest?: string
}

type Taken = { readonly value: unknown } | { readonly fault: Omit<SettingFault, 'id' | 'found'> }

const unreadable = (expected: string, nearest?: string): Taken => ({
  fault: { code: 'SETTING_UNREADABLE', expected, ...(nearest === undefined ? {} : { nearest }) },
})
const outOfRange = (expected: string): Taken => ({ fault: { code: 'SETTING_OUT_OF_RANGE', expected } })

/** Reads one setting as a clinic wrote it. */
function taken(id: SettingId, raw: unknown): Taken {
  const definition: Definition = settingDefinitions[id]
  switch (definition.kind) {
    case 'switch':
      return raw === 'on' || raw === 'off' ? { value: raw } : unreadable('on or off')
    case 'answer':
      return raw === 'yes' || raw === 'no' ? { value: raw } : unreadable('yes or no')
    case 'length':
      return lengthTaken(raw, definition)
    case 'calendar':
      return calendarTaken(raw, definition)
    case 'number':
      return numberTaken(raw, definition)
    case 'range':
      return listTaken(raw, 2, `two numbers in ${definition.unit}, the smaller first, like [5, 10]`, part =>
        numberTaken(part, definition),
      )
    case 'steps':
      return listTaken(raw, 3, 'three durations, each longer than the one before, like [PT3M, PT5M, PT10M]', part =>
        lengthTaken(part, definition),
      )
  }
}

function lengthTaken(raw: unknown, { shipped, least, most }: Definition): Taken {
  const example = typeof shipped === 'string' ? shipped : 'PT5M'
  const asked = `a duration with its unit, like ${example} (PT5M is five minutes, PT8H hours, P7D days, P12W weeks)`
  const length = typeof raw === 'string' ? Duration.fromISO(raw) : undefined
  if (length === undefined || !length.isValid) return unreadable(asked, lengthMeant(raw))
  if (length.years !== 0 || length.quarters !== 0 || length.months !== 0) {
    return unreadable(`${asked}; months and years have no fixed length, and minutes need a T`, lengthMeant(raw))
  }
  const ms = length.toMillis()
  const within = ms >= Duration.fromISO(String(least)).toMillis() && ms <= Duration.fromISO(String(most)).toMillis()
  return within ? { value: milliseconds(ms) } : outOfRange(`from ${least} to ${most}`)
}

/** The duration somebody probably meant by "120 min", "2 hours", or P60M. */
function lengthMeant(raw: unknown): string | undefined {
  const monthsMeantAsMinutes = /^P(\d+)M$/.exec(String(raw))
  if (monthsMeantAsMinutes) return `PT${monthsMeantAsMinutes[1]}M`
  const words = /^(\d+) *(s|m|h|d|w)[a-z]*$/i.exec(String(raw))
  if (words === null) return undefined
  const unit = (words[2] ?? '').toUpperCase()
  return unit === 'D' || unit === 'W' ? `P${words[1]}${unit}` : `PT${words[1]}${unit}`
}

function calendarTaken(raw: unknown, { shipped, least, most }: Definition): Taken {
  const length = typeof raw === 'string' ? Duration.fromISO(raw) : undefined
  const asked = `a length in months, weeks or days, like ${shipped} (three months)`
  if (length === undefined || !length.isValid || length.hours + length.minutes + length.seconds > 0)
    return unreadable(asked)
  const months = length.years * 12 + length.quarters * 3 + length.months
  const days = length.weeks * 7 + length.days
  if (!Number.isInteger(months) || !Number.isInteger(days)) return unreadable(asked)
  const roughDays = months * 30 + days
  const within = roughDays >= roughDaysOf(least) && roughDays <= roughDaysOf(most)
  return within ? { value: { months, days } } : outOfRange(`from ${least} to ${most}`)
}

const roughDaysOf = (bound: string | number | undefined) => Duration.fromISO(String(bound)).as('months') * 30

function numberTaken(raw: unknown, { least, most, unit }: Definition): Taken {
  if (typeof raw !== 'number' || !Number.isFinite(raw)) return unreadable(`a plain number in ${unit}, without the unit`)
  return raw >= Number(least) && raw <= Number(most) ? { value: raw } : outOfRange(`from ${least} to ${most} ${unit}`)
}

function listTaken(raw: unknown, length: number, asked: string, part: (raw: unknown) => Taken): Taken {
  if (!Array.isArray(raw) || raw.length !== length) return unreadable(asked)
  const parts = raw.map(part)
  const wrong = parts.find(one => 'fault' in one)
  if (wrong !== undefined) return wrong
  const values = parts.map(one => ('value' in one ? Number(one.value) : Number.NaN))
  const rises = values.every((value, index) => index === 0 || value > (values[index - 1] ?? 0))
  return rises ? { value: values } : unreadable(asked)
}

/** Pairs that may not stand the other way round. */
const inOrder: readonly (readonly [SettingId, SettingId, 'equal-allowed' | 'strictly'])[] = [
  ['closure-soonest', 'closure-latest', 'equal-allowed'],
  ['closure-latest', 'closure-overdue', 'strictly'],
  ['no-urine-page', 'no-urine-hospital', 'equal-allowed'],
  ['fever-under-3-months', 'fever-3-to-6-months', 'equal-allowed'],
  ['left-check', 'left-silent', 'strictly'],
]

function contradictions(settings: Settings, written: Readonly<Record<string, unknown>>): SettingFault[] {
  return inOrder.flatMap(([lower, upper, equality]) => {
    const a = Number(settings[lower])
    const b = Number(settings[upper])
    if (a < b || (a === b && equality === 'equal-allowed')) return []
    const id = upper in written ? upper : lower
    const said = (which: SettingId) => `${which} ${String(written[which] ?? settingDefinitions[which].shipped)}`
    return [
      {
        code: 'SETTINGS_CONTRADICT' as const,
        id,
        found: `${said(lower)} and ${said(upper)}`,
        expected: `${lower} ${equality === 'strictly' ? 'below' : 'not above'} ${upper}`,
      },
    ]
  })
}

/**
 * `base` with the written settings over it. A setting at fault keeps the value of `base`. Serves the clinic's file and
 * the policy of a vignette alike.
 */
export function settingsWith(
  base: Settings,
  written: Readonly<Record<string, unknown>>,
): { settings: Settings; faults: readonly SettingFault[] } {
  const faults: SettingFault[] = []
  const settings: Record<string, unknown> = { ...base }
  for (const [id, raw] of Object.entries(written)) {
    if (!isSettingId(id)) {
      const nearest = nearestId(id, settingIds)
      faults.push({
        code: 'UNKNOWN_SETTING',
        id,
        found: `unknown setting "${id}"`,
        expected: 'a setting that exists',
        ...(nearest === undefined ? {} : { nearest }),
      })
      continue
    }
    const read = taken(id, raw)
    if ('value' in read) settings[id] = read.value
    else faults.push({ ...read.fault, id, found: `${JSON.stringify(raw)} for ${id}` })
  }
  const whole = settings as unknown as Settings
  return { settings: whole, faults: [...faults, ...contradictions(whole, written)] }
}

function shippedSettings(): Settings {
  const values: Record<string, unknown> = {}
  for (const id of settingIds) {
    const read = taken(id, settingDefinitions[id].shipped)
    if ('fault' in read) throw new Error(`shipped value of ${id} is outside its own bounds`)
    values[id] = read.value
  }
  return values as unknown as Settings
}

/** The shipped values. */
export const defaultSettings: Settings = shippedSettings()

/** Why a value may be used only with the signatures of two clinicians; undefined where it may be used without. */
export function secondSignOffReason(id: SettingId, settings: Settings): string | undefined {
  const eightWeeks = Duration.fromISO('P8W').toMillis()
  if (id === 'tract-settled-after' && settings[id] < eightWeeks) return 'below 8 weeks'
  if (id === 'hold-open-new' && settings[id] === 'on') return 'a holding tube in a new channel'
  return undefined
}
