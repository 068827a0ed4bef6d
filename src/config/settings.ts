import { Duration } from 'luxon'
import { nearestId } from '../flow/problem.ts'
import { type Milliseconds, milliseconds } from '../time/instant.ts'

/**
 * The clinic's settings: ids, shipped values, bounds. Shipped values are a cautious starting point from published sources
 * that a clinic must review; what each rests on stands beside it. The bounds are this program's own: a value outside
 * them is taken for a slip of the pen (a wrong unit, a lost digit), not for a clinical choice.
 */

/** A length on the calendar; months have no fixed length. */
export interface CalendarLength {
  readonly months: number
  readonly days: number
}

interface ValueOf {
  readonly length: Milliseconds
  readonly calendar: CalendarLength
  readonly switch: 'on' | 'off'
  readonly answer: 'yes' | 'no'
  readonly number: number
  readonly range: readonly [number, number]
  readonly steps: readonly [Milliseconds, Milliseconds, Milliseconds]
}

type Raw = string | number | readonly (string | number)[]

interface Definition {
  readonly kind: keyof ValueOf
  /** As a clinic would write it. */
  readonly shipped: Raw
  /** Inclusive; durations for lengths, plain numbers otherwise. */
  readonly least?: string | number
  readonly most?: string | number
  readonly unit?: string
  /** What it decides, in a clerk's words. */
  readonly means: string
}

export const settingDefinitions = {
  'tract-settled-after': {
    kind: 'length',
    shipped: 'P12W',
    least: 'P1W',
    most: 'P52W',
    means:
      'how long after the first tube the channel counts as settled; bodies span 1 to 12 weeks; below 8 weeks two clinicians must sign',
  },
  'tract-settled-needs-change': {
    kind: 'answer',
    shipped: 'yes',
    means: 'whether the tube must also have been changed once before the channel counts as settled',
  },
  'first-days': {
    kind: 'length',
    shipped: 'P7D',
    least: 'P3D',
    most: 'P30D',
    means: 'how long after placement the strict rules of the first days hold; published: 72 hours, widened',
  },
  'closure-soonest': {
    kind: 'length',
    shipped: 'PT60M',
    least: 'PT15M',
    most: 'PT240M',
    means: 'how soon the opening may begin to close; common practice, no source',
  },
  'closure-latest': {
    kind: 'length',
    shipped: 'PT120M',
    least: 'PT30M',
    most: 'PT480M',
    means: 'by when a tube should be back; common practice 1 to 2 hours, published 2 to 4',
  },
  'closure-overdue': {
    kind: 'length',
    shipped: 'PT240M',
    least: 'PT60M',
    most: 'PT720M',
    means: 'from when the clinician is told that it is overdue',
  },
  'home-replacement': {
    kind: 'switch',
    shipped: 'off',
    means: 'whether a taught family may be told to put a tube in, all other conditions met',
  },
  'hold-open-settled': {
    kind: 'switch',
    shipped: 'off',
    means: 'whether a taught family may hold a settled channel open with a smaller tube',
  },
  'hold-open-new': {
    kind: 'switch',
    shipped: 'off',
    means: 'the same for a new channel; bodies disagree; two clinicians must sign',
  },
  'family-ph': {
    kind: 'switch',
    shipped: 'off',
    means: 'whether a taught family may confirm by pH before feeding; off: a clinician confirms',
  },
  'ph-at-most': {
    kind: 'number',
    shipped: 5.0,
    least: 1,
    most: 5.5,
    unit: 'pH',
    means: 'highest pH that confirms; published 4 to 5.5',
  },
  'balloon-loss-ml': {
    kind: 'number',
    shipped: 0.5,
    least: 0.1,
    most: 5,
    unit: 'mL',
    means: 'loss of balloon water that counts',
  },
  'device-change-due': {
    kind: 'calendar',
    shipped: 'P3M',
    least: 'P1M',
    most: 'P12M',
    means: 'when a balloon device is due for its change',
  },
  'flush-ml': {
    kind: 'range',
    shipped: [5, 10],
    least: 1,
    most: 60,
    unit: 'mL',
    means: 'least and most warm water for a flush',
  },
  'fever-under-3-months': {
    kind: 'number',
    shipped: 38.0,
    least: 37,
    most: 40,
    unit: '°C',
    means: 'fever under 3 months, from this temperature',
  },
  'fever-3-to-6-months': {
    kind: 'number',
    shipped: 39.0,
    least: 37,
    most: 41,
    unit: '°C',
    means: 'fever from 3 to 6 months, from this temperature',
  },
  'no-urine-page': {
    kind: 'length',
    shipped: 'PT8H',
    least: 'PT4H',
    most: 'PT24H',
    means: 'without urine for so long: page',
  },
  'no-urine-hospital': {
    kind: 'length',
    shipped: 'PT12H',
    least: 'PT4H',
    most: 'PT24H',
    means: 'without urine for so long: hospital',
  },
  'ladder-urgent': {
    kind: 'steps',
    shipped: ['PT3M', 'PT5M', 'PT10M'],
    least: 'PT1M',
    most: 'PT30M',
    means: 'ambulance and set-out: page again, next person, last person and family told',
  },
  'ladder-speak': {
    kind: 'steps',
    shipped: ['PT10M', 'PT20M', 'PT30M'],
    least: 'PT1M',
    most: 'PT2H',
    means: 'speak: page again, next person, last person and family told',
  },
  'asked-again-after': {
    kind: 'length',
    shipped: 'PT150S',
    least: 'PT30S',
    most: 'PT15M',
    means: 'after an outage an open question older than this is asked again',
  },
  'left-check': {
    kind: 'length',
    shipped: 'PT10M',
    least: 'PT2M',
    most: 'PT60M',
    means: 'after "go to hospital": ask whether they have left',
  },
  'left-silent': {
    kind: 'length',
    shipped: 'PT20M',
    least: 'PT5M',
    most: 'PT2H',
    means: 'silent for so long after "go to hospital": page again',
  },
  'arrival-grace': {
    kind: 'length',
    shipped: 'PT15M',
    least: 'PT5M',
    most: 'PT60M',
    means: 'after the expected arrival: how long silence is left alone',
  },
  'promise-grace': {
    kind: 'length',
    shipped: 'PT5M',
    least: 'PT1M',
    most: 'PT30M',
    means: 'after a promised call: how long before paging again',
  },
  'reading-grade': {
    kind: 'number',
    shipped: 6,
    least: 1,
    most: 8,
    unit: 'grade',
    means: 'hardest wording allowed, by English reading grade',
  },
} as const satisfies Record<string, Definition>

export type SettingId = keyof typeof settingDefinitions
export type Settings = { readonly [Id in SettingId]: ValueOf[(typeof settingDefinitions)[Id]['kind']] }
export const settingIds = Object.keys(settingDefinitions) as SettingId[]
export const isSettingId = (id: string): id is SettingId => Object.hasOwn(settingDefinitions, id)

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
