import type { Milliseconds } from '../time/instant.ts'

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

export interface Definition {
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
  'flush-wait': {
    kind: 'length',
    shipped: 'PT30M',
    least: 'PT10M',
    most: 'PT60M',
    means: 'after a flush that did not clear the tube: how long it is left before the one other try',
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
