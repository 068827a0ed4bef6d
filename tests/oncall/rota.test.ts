import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import type { Shift } from '../../src/oncall/clinic.ts'
import { gaps, onCallAt } from '../../src/oncall/rota.ts'
import { dutiesBetween, stretches } from '../../src/oncall/timeline.ts'
import { weekdays } from '../../src/oncall/wall-time.ts'
import { days, instant, after as later } from '../../src/time/instant.ts'
import { at, change, clinicWith, everyDay, iso, shift } from './clinic-built.ts'

const HOUR_MS = 3_600_000

describe('clock-change nights', () => {
  // Dates and directions: IANA tz database (rules for the EU, the US, Australia incl. Lord Howe's half hour, Chile).
  const nights = [
    // zone, local date the night begins, length of 18:00-08:00 in hours
    ['America/New_York', '2026-10-31', 15],
    ['America/New_York', '2027-03-13', 13],
    ['Europe/London', '2026-10-24', 15],
    ['Europe/London', '2027-03-27', 13],
    ['Australia/Sydney', '2026-04-04', 15],
    ['Australia/Sydney', '2026-10-03', 13],
    ['Australia/Lord_Howe', '2026-04-04', 14.5],
    ['Australia/Lord_Howe', '2026-10-03', 13.5],
    ['America/Santiago', '2026-04-04', 15],
    ['America/Santiago', '2026-09-05', 13],
    ['Asia/Kathmandu', '2026-10-24', 14],
  ] as const

  it.each(nights)('%s: the night of %s lasts %d hours', (zone, date, expected) => {
    const clinic = clinicWith({ zone })
    const start = DateTime.fromISO(`${date}T18:00`, { zone })
    const night = dutiesBetween(clinic, 'first', instant(start.toMillis()), instant(start.toMillis())).find(
      duty => duty.who === 'nadia' && duty.startsAt === start.toMillis(),
    )
    expect(((night?.endsAt ?? 0) - (night?.startsAt ?? 0)) / HOUR_MS).toBe(expected)
    // An independent reckoning by a general-purpose library: both edges are unambiguous wall times.
    const end = start.plus({ days: 1 }).set({ hour: 8 })
    expect(end.diff(start).as('hours')).toBe(expected)
  })

  const edges = [
    // zone, wall time that happens twice or never, what it means, cover that starts, cover that ends (UTC)
    ['America/New_York', '2026-11-01', '01:30', '2026-11-01T05:30Z', '2026-11-01T06:30Z'],
    ['America/New_York', '2027-03-14', '02:30', '2027-03-14T06:30Z', '2027-03-14T07:30Z'],
    ['Europe/London', '2026-10-25', '01:30', '2026-10-25T00:30Z', '2026-10-25T01:30Z'],
    ['Europe/London', '2027-03-28', '01:30', '2027-03-28T00:30Z', '2027-03-28T01:30Z'],
    ['Europe/Madrid', '2026-10-25', '02:30', '2026-10-25T00:30Z', '2026-10-25T01:30Z'],
    ['Australia/Sydney', '2026-04-05', '02:30', '2026-04-04T15:30Z', '2026-04-04T16:30Z'],
    ['Australia/Sydney', '2026-10-04', '02:30', '2026-10-03T15:30Z', '2026-10-03T16:30Z'],
    ['Australia/Lord_Howe', '2026-04-05', '01:45', '2026-04-04T14:45Z', '2026-04-04T15:15Z'],
    ['America/New_York', '2026-11-02', '01:30', '2026-11-02T06:30Z', '2026-11-02T06:30Z'],
  ] as const

  it.each(edges)(
    '%s %s %s: cover starts at the earlier instant and ends at the later',
    (zone, date, clock, starts, ends) => {
      const clinic = clinicWith({ zone, roles: { first: everyDay(`${clock}-13:00 omar`, `13:00-${clock} nadia`) } })
      const around = instant(Date.parse(`${date}T00:00Z`))
      const duties = dutiesBetween(clinic, 'first', instant(around - 2 * 24 * HOUR_MS), later(around, days(2)))
      const day = (moment: number) => DateTime.fromMillis(moment, { zone }).toISODate()
      expect(duties.filter(one => one.who === 'omar').map(one => iso(one.startsAt))).toContain(iso(at(starts)))
      expect(duties.filter(one => one.who === 'nadia').map(one => iso(one.endsAt))).toContain(iso(at(ends)))
      expect(day(at(starts))).toBe(date)
      expect(gaps(clinic, instant(around - 2 * 24 * HOUR_MS), later(around, days(2)))).toEqual([])
    },
  )

  it('in the hour that both cover, the one who came last is on call', () => {
    const clinic = clinicWith({ roles: { first: everyDay('01:30-13:00 omar', '13:00-01:30 nadia') } })
    expect(onCallAt(clinic, 'first', at('2026-11-01T05:29Z'))?.id).toBe('nadia')
    expect(onCallAt(clinic, 'first', at('2026-11-01T05:30Z'))?.id).toBe('omar')
    expect(onCallAt(clinic, 'first', at('2026-11-01T06:29Z'))?.id).toBe('omar')
  })
})

describe('who is on call', () => {
  const clinic = clinicWith({
    roles: {
      first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia'),
      second: everyDay('08:00-08:00 pilar'),
      desk: everyDay('00:00-24:00 ward-desk'),
      late: [shift('friday 20:00-02:00 quinn')],
    },
    changes: [
      change('first', '2026-12-24 18:00', '2026-12-25 08:00', 'pilar'),
      change('first', '2026-12-24 22:00', '2026-12-24 23:00', 'quinn'),
    ],
  })
  // New York is at UTC-5 in December and in January.
  it.each([
    ['first', '2027-01-06T12:59Z', 'nadia'], // 07:59
    ['first', '2027-01-06T13:00Z', 'omar'], // 08:00: the start belongs to the one who comes
    ['first', '2027-01-06T22:59Z', 'omar'],
    ['first', '2027-01-06T23:00Z', 'nadia'],
    ['second', '2027-01-06T13:00Z', 'pilar'],
    ['desk', '2027-01-06T05:00Z', 'ward-desk'],
    ['late', '2027-01-09T00:59Z', undefined], // Friday 19:59
    ['late', '2027-01-09T01:00Z', 'quinn'],
    ['late', '2027-01-09T06:59Z', 'quinn'], // Saturday 01:59
    ['late', '2027-01-09T07:00Z', undefined],
    ['first', '2026-12-24T22:59Z', 'omar'],
    ['first', '2026-12-24T23:00Z', 'pilar'], // the change begins
    ['first', '2026-12-25T03:00Z', 'quinn'], // the later line wins
    ['first', '2026-12-25T04:00Z', 'pilar'],
    ['first', '2026-12-25T12:59Z', 'pilar'],
    ['first', '2026-12-25T13:00Z', 'omar'],
    ['nobody-has-this-role', '2027-01-06T12:00Z', undefined],
  ])('%s at %s is %s', (role, moment, expected) => {
    expect(onCallAt(clinic, role, at(moment))?.id).toBe(expected)
  })

  it('a rota that names somebody unknown has nobody there, not somebody else', () => {
    const stray = clinicWith({ roles: { first: everyDay('00:00-24:00 ghost') } })
    expect(onCallAt(stray, 'first', at('2027-01-06T12:00Z'))).toBeUndefined()
  })

  it('stretches lie end to end and say who, from when, until when', () => {
    const cut = stretches(clinic, 'first', at('2026-12-24T20:00Z'), at('2026-12-25T14:00Z'))
    expect(cut.map(one => `${iso(one.from)} ${one.duty?.who}`)).toEqual([
      '2026-12-24T20:00Z omar',
      '2026-12-24T23:00Z pilar',
      '2026-12-25T03:00Z quinn',
      '2026-12-25T04:00Z pilar',
      '2026-12-25T13:00Z omar',
    ])
    expect(cut.slice(1).map(one => one.from)).toEqual(cut.slice(0, -1).map(one => one.until))
  })
})

describe('gaps', () => {
  it('tells each hole with its role, from its first instant to the next cover', () => {
    const holed = weekdays.filter(day => day !== 'saturday').map(day => shift(`${day} 18:00-08:00 nadia`))
    const clinic = clinicWith({ roles: { first: [...everyDay('08:00-18:00 omar'), ...holed] } })
    const found = gaps(clinic, at('2027-01-04T05:00Z'), at('2027-01-11T05:00Z'))
    expect(found.map(one => [one.role, iso(one.from), iso(one.until)])).toEqual([
      ['first', '2027-01-09T23:00Z', '2027-01-10T13:00Z'],
    ])
  })

  it('a role without shifts is one gap over all the time asked for', () => {
    const found = gaps(clinicWith({ roles: { first: [] } }), at('2027-01-04T05:00Z'), at('2027-01-05T05:00Z'))
    expect(found).toHaveLength(1)
    expect((found[0]?.until ?? 0) - (found[0]?.from ?? 0)).toBe(24 * HOUR_MS)
  })

  it('a change fills a hole', () => {
    const roles = { first: everyDay('08:00-18:00 omar') }
    const changes = [change('first', '2027-01-04 18:00', '2027-01-05 08:00', 'nadia')]
    const night = [at('2027-01-04T23:00Z'), at('2027-01-05T13:00Z')] as const
    expect(gaps(clinicWith({ roles }), ...night)).toHaveLength(1)
    expect(gaps(clinicWith({ roles, changes }), ...night)).toEqual([])
  })

  const zones = [
    'America/New_York',
    'Europe/London',
    'Australia/Lord_Howe',
    'Africa/Casablanca',
    'America/Santiago',
    'Asia/Kathmandu',
  ]
  /** A week cut at random minutes into shifts that follow each other: covered by construction. */
  const coveredWeek = fc
    .uniqueArray(fc.integer({ min: 0, max: 7 * 96 - 1 }), { minLength: 8, maxLength: 24 })
    .map(cuts => cuts.map(cut => cut * 15).sort((a, b) => a - b))
    .filter(cuts =>
      cuts.every((cut, index) => ((cuts[(index + 1) % cuts.length] ?? 0) - cut + 10_080) % 10_080 <= 1440),
    )
    .map(cuts =>
      cuts.map((cut, index): Shift => {
        const next = cuts[(index + 1) % cuts.length] ?? 0
        const on = weekdays[Math.floor(cut / 1440)] ?? 'monday'
        return { on, from: cut % 1440, to: next % 1440, who: index % 2 === 0 ? 'omar' : 'nadia' }
      }),
    )

  it('every instant of a year is covered when the week is covered, in any zone', () => {
    fc.assert(
      fc.property(coveredWeek, fc.constantFrom(...zones), (week, zone) => {
        const clinic = clinicWith({ zone, roles: { first: week } })
        expect(gaps(clinic, at('2026-06-01T00:00Z'), at('2027-06-01T00:00Z'))).toEqual([])
      }),
      { numRuns: 12 },
    )
  })

  it('taking one shift out of a covered week is always found', () => {
    fc.assert(
      fc.property(coveredWeek, fc.nat(), (week, which) => {
        const holed = week.filter((_, index) => index !== which % week.length)
        const clinic = clinicWith({ roles: { first: holed } })
        expect(gaps(clinic, at('2026-06-01T00:00Z'), at('2026-06-15T00:00Z')).length).toBeGreaterThanOrEqual(1)
      }),
      { numRuns: 50 },
    )
  })

  it('a gap and nobody on call are the same thing at any instant', () => {
    const clinic = clinicWith({ roles: { first: everyDay('08:00-12:15 omar', '22:30-06:45 nadia') } })
    const [from, until] = [at('2026-10-30T00:00Z'), at('2026-11-03T00:00Z')]
    const holes = gaps(clinic, from, until)
    for (let moment: number = from; moment < until; moment += 5 * 60_000) {
      const inHole = holes.some(hole => hole.from <= moment && moment < hole.until)
      expect(onCallAt(clinic, 'first', instant(moment)) === undefined, iso(moment)).toBe(inHole)
    }
  })
})
