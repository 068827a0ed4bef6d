import type { Clinic, Desk, Person, RotaChange, Rung, Shift } from '../../src/oncall/clinic.ts'
import { type MinuteOfDay, type WallTime, weekdays } from '../../src/oncall/wall-time.ts'
import { type Instant, instant } from '../../src/time/instant.ts'

/** Invented clinics in few words, for the on-call tests. */

export const at = (iso: string): Instant => instant(Date.parse(iso))
export const iso = (moment: number): string => new Date(moment).toISOString().replace(':00.000Z', 'Z')

/** `18:00` as minutes of the day. */
export function minute(clock: string): MinuteOfDay {
  const [hour, minutes] = clock.split(':')
  return Number(hour) * 60 + Number(minutes)
}

/** `2026-10-25 01:30` as a wall time. */
export function wall(text: string): WallTime {
  const [date = '', clock = ''] = text.split(' ')
  return { day: Date.parse(`${date}T00:00:00Z`) / 86_400_000, minute: minute(clock) }
}

export const person = (id: string): Person => ({
  kind: 'person',
  id,
  name: `Nurse ${id}`,
  job: 'feeding nurse',
  clinician: true,
  pageAt: [{ pager: 'smtp', address: `${id}@clinic.example` }],
  privateNumber: '+12125550141',
})

export const desk = (id: string): Desk => ({
  kind: 'desk',
  id,
  name: `The ${id}`,
  words: 'Ask for the nurse in charge.',
  pageAt: [{ pager: 'board', address: '' }],
})

/** The same shifts on each day of the week: `18:00-08:00 nadia`. */
export function everyDay(...lines: string[]): Shift[] {
  return weekdays.flatMap(on => lines.map(line => shift(`${on} ${line}`)))
}

/** `monday 18:00-08:00 nadia` */
export function shift(line: string): Shift {
  const [on, span = '', who = ''] = line.split(' ')
  const [from = '', to = ''] = span.split('-')
  return { on: weekdays.find(day => day === on) ?? 'monday', from: minute(from), to: minute(to), who }
}

export function change(role: string, from: string, until: string, who: string): RotaChange {
  return { role, from: wall(from), until: wall(until), who }
}

export const always = { kind: 'always' } as const

interface Wanted {
  readonly zone?: string
  readonly roles?: Record<string, readonly Shift[]>
  readonly changes?: readonly RotaChange[]
  readonly ladder?: readonly Rung[]
  readonly people?: readonly Person[]
  readonly desks?: readonly Desk[]
  readonly opening?: Clinic['opening']
}

const weekdaysOpen = [{ from: minute('08:00'), to: minute('17:00') }]

export const officeHours: Clinic['opening'] = {
  weekly: {
    monday: weekdaysOpen,
    tuesday: weekdaysOpen,
    wednesday: weekdaysOpen,
    thursday: weekdaysOpen,
    friday: weekdaysOpen,
    saturday: [],
    sunday: [],
  },
  dates: {},
}

export function clinicWith(wanted: Wanted = {}): Clinic {
  return {
    name: 'Test clinic',
    zone: wanted.zone ?? 'America/New_York',
    clock: '24h',
    demonstration: true,
    familyLanguages: ['en'],
    staffLanguage: 'en',
    numbers: {
      emergency: { number: '911' },
      familiesRing: { number: '+12125550110', words: 'Ask for the feeding nurse.' },
      transport: { number: '+12125550117' },
    },
    hospitals: [
      {
        id: 'harbour',
        name: 'Harbour',
        address: '1 Pier Lane',
        familiesRing: { number: '+12125550120' },
        canDo: [],
        handoverTo: [{ pager: 'smtp', address: 'desk@harbour.example' }],
      },
    ],
    people: wanted.people ?? ['nadia', 'omar', 'pilar', 'quinn'].map(person),
    desks: wanted.desks ?? ['day-desk', 'ward-desk'].map(desk),
    opening: wanted.opening ?? officeHours,
    rota: {
      roles: wanted.roles ?? { first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia') },
      changes: wanted.changes ?? [],
    },
    ladder: wanted.ladder ?? [{ kind: 'role', role: 'first', when: always }],
  }
}
