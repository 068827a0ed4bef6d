import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { crowded, straightGaps, straightOnCall } from '../../src/measure/rota-area.ts'
import type { Clinic, Rota } from '../../src/oncall/clinic.ts'
import { coverageOf } from '../../src/oncall/coverage.ts'
import { rotaDifferences } from '../../src/oncall/differences.ts'
import { rungsAt, rungsMissedAt } from '../../src/oncall/ladder.ts'
import { dutyAt, gaps } from '../../src/oncall/rota.ts'
import { swapTroubles } from '../../src/oncall/swaps.ts'
import { stretches } from '../../src/oncall/timeline.ts'
import { offsetAt } from '../../src/oncall/wall-time.ts'
import { days, instant, after as later } from '../../src/time/instant.ts'
import '../support/seed.ts'
import { always, at, change, clinicWith, everyDay, iso, person, shift, wall } from './clinic-built.ts'

/** A clinic with more in its rota than the week. */
function withRota(rota: Partial<Rota>, more: Parameters<typeof clinicWith>[0] = {}): Clinic {
  const clinic = clinicWith(more)
  return { ...clinic, rota: { ...clinic.rota, ...rota } }
}

const who = (clinic: Clinic, moment: string, role = 'first') => dutyAt(clinic, role, at(moment))?.who

// Weekdays and week numbers of 2026: ISO 8601 calendar (30 November 2026 is the Monday of week 49).
describe('shifts every few weeks', () => {
  const roles = {
    first: [
      { ...shift('monday 18:00-08:00 nadia'), every: 2, since: wall('2026-11-30 00:00').day },
      { ...shift('monday 18:00-08:00 omar'), every: 2, since: wall('2026-12-07 00:00').day },
      { ...shift('wednesday 18:00-08:00 pilar'), every: 3, since: wall('2026-12-03 00:00').day },
    ],
  }
  const clinic = clinicWith({ roles })
  it.each([
    ['2026-11-24T01:00Z', undefined], // before anything counts
    ['2026-12-01T01:00Z', 'nadia'], // Monday 30 November, in the evening in New York
    ['2026-12-08T01:00Z', 'omar'],
    ['2026-12-15T01:00Z', 'nadia'],
    ['2026-12-22T01:00Z', 'omar'],
    ['2027-01-05T01:00Z', 'omar'], // over the end of a year of 53 weeks
    ['2026-12-03T01:00Z', undefined], // Wednesday of the week that counts, but before `since`
    ['2026-12-24T01:00Z', 'pilar'], // three weeks on
    ['2026-12-17T01:00Z', undefined],
  ])('at %s: %s', (moment, expected) => expect(who(clinic, moment)).toBe(expected))

  it('says how many weeks lie between', () => {
    expect(dutyAt(clinic, 'first', at('2026-12-01T01:00Z'))).toMatchObject({ by: 'pattern', every: 2 })
  })
})

describe('holidays', () => {
  const holidays = new Map([[wall('2026-12-25 00:00').day, 'Christmas Day']])
  const roles = {
    first: [
      ...everyDay('08:00-18:00 omar', '18:00-08:00 nadia'),
      { ...shift('monday 08:00-08:00 pilar'), on: 'holiday' as const },
    ],
  }
  const clinic = withRota({ holidays }, { roles })
  it.each([
    ['2026-12-25T12:59Z', 'nadia'], // 07:59: the night before runs on
    ['2026-12-25T13:00Z', 'pilar'],
    ['2026-12-26T12:59Z', 'pilar'],
    ['2026-12-26T13:00Z', 'omar'],
    ['2026-12-24T13:00Z', 'omar'],
  ])('at %s: %s', (moment, expected) => expect(who(clinic, moment)).toBe(expected))

  it('the duty names the holiday', () => {
    expect(dutyAt(clinic, 'first', at('2026-12-25T20:00Z'))).toMatchObject({ by: 'holiday', holiday: 'Christmas Day' })
  })
})

describe('swaps', () => {
  const nights = { first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia'), second: everyDay('08:00-08:00 pilar') }
  const named = (starts: string, role = 'first') => ({ role, starts: wall(starts) })

  it('one covers the shift of another, and nothing else changes', () => {
    const swaps = [{ shift: named('2026-12-02 18:00'), of: 'nadia', to: 'quinn', why: 'a wedding' }]
    const clinic = withRota({ swaps }, { roles: nights })
    const plain = clinicWith({ roles: nights })
    expect(rotaDifferences(plain, clinic, at('2026-11-01T00:00Z'), at('2027-01-01T00:00Z'))).toEqual([
      { role: 'first', from: at('2026-12-02T23:00Z'), until: at('2026-12-03T13:00Z'), before: 'nadia', after: 'quinn' },
    ])
    expect(dutyAt(clinic, 'first', at('2026-12-03T05:00Z'))).toMatchObject({
      by: 'swap',
      swapped: { by: 'pattern', of: 'nadia' },
      why: 'a wedding',
    })
  })

  it('two exchange two named shifts, also of two roles', () => {
    const swaps = [
      { shift: named('2026-12-02 18:00'), of: 'nadia', to: 'pilar', inReturn: named('2026-12-04 08:00', 'second') },
    ]
    const clinic = withRota({ swaps }, { roles: nights })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('pilar')
    expect(who(clinic, '2026-12-04T20:00Z', 'second')).toBe('nadia')
    expect(swapTroubles(clinic, at('2026-11-30T00:00Z'))).toEqual([])
  })

  it('swaps of one shift are carried out in the order of the list', () => {
    const swaps = [
      { shift: named('2026-12-02 18:00'), of: 'nadia', to: 'pilar' },
      { shift: named('2026-12-02 18:00'), of: 'pilar', to: 'quinn' },
    ]
    const clinic = withRota({ swaps }, { roles: nights })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('quinn')
    expect(swapTroubles(clinic, at('2026-11-30T00:00Z'))).toEqual([])
  })

  it('a circle of swaps is told, and leaves the shift where it began', () => {
    const swaps = [
      { shift: named('2026-12-02 18:00'), of: 'nadia', to: 'pilar' },
      { shift: named('2026-12-02 18:00'), of: 'pilar', to: 'nadia' },
    ]
    const clinic = withRota({ swaps }, { roles: nights })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('nadia')
    expect(swapTroubles(clinic, at('2026-11-30T00:00Z'))).toMatchObject([{ swap: 1, kind: 'back' }])
  })

  it('a shift that nobody of that name has is told, and nothing is swapped', () => {
    const swaps = [{ shift: named('2026-12-02 19:00'), of: 'nadia', to: 'quinn' }]
    const clinic = withRota({ swaps }, { roles: nights })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('nadia')
    expect(swapTroubles(clinic, at('2026-11-30T00:00Z'))).toMatchObject([{ swap: 0, kind: 'unmatched', of: 'nadia' }])
    expect(swapTroubles(clinic, at('2026-12-05T00:00Z'))).toEqual([])
  })

  // IANA tz database: New York's clocks go back on 1 November 2026 at 02:00 and forward on 14 March 2027 at 02:00.
  it('a shift that starts in the hour that comes twice is named by its wall time', () => {
    const roles = { first: everyDay('01:30-13:00 omar', '13:00-01:30 nadia') }
    const clinic = withRota({ swaps: [{ shift: named('2026-11-01 01:30'), of: 'omar', to: 'quinn' }] }, { roles })
    expect(who(clinic, '2026-11-01T05:30Z')).toBe('quinn')
    expect(who(clinic, '2026-11-01T06:30Z')).toBe('quinn')
    expect(gaps(clinic, at('2026-10-30T00:00Z'), at('2026-11-03T00:00Z'))).toEqual([])
  })
})

describe('leave', () => {
  const roles = { first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia') }
  const leave = [{ who: 'nadia', from: wall('2026-12-02 00:00'), until: wall('2026-12-04 00:00') }]

  it('what is theirs is nobody’s, exactly while they are away', () => {
    const found = gaps(withRota({ leave }, { roles }), at('2026-11-25T05:00Z'), at('2026-12-10T05:00Z'))
    expect(found.map(one => `${iso(one.from)} ${iso(one.until)} ${one.away?.who}`)).toEqual([
      '2026-12-02T05:00Z 2026-12-02T13:00Z nadia',
      '2026-12-02T23:00Z 2026-12-03T13:00Z nadia',
      '2026-12-03T23:00Z 2026-12-04T05:00Z nadia',
    ])
  })

  it('cover closes the hole; their own shift under it stays theirs to be away from', () => {
    const changes = [change('first', '2026-12-02 18:00', '2026-12-03 08:00', 'quinn')]
    const clinic = withRota({ leave, changes }, { roles })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('quinn')
    expect(who(clinic, '2026-12-02T06:00Z')).toBeUndefined()
  })

  it('a change given to somebody who is away does not fall back on whoever stood there before', () => {
    const changes = [change('first', '2026-12-02 08:00', '2026-12-02 18:00', 'nadia')]
    const clinic = withRota({ leave, changes }, { roles })
    expect(who(clinic, '2026-12-02T15:00Z')).toBeUndefined()
    expect(rungsMissedAt(clinic, at('2026-12-02T15:00Z'))).toEqual([{ rung: 0, because: 'nobody-on-call' }])
  })

  it('a swap away from them closes the hole, a swap to them opens one', () => {
    const swap = (of: string, to: string, starts: string) => ({
      shift: { role: 'first', starts: wall(starts) },
      of,
      to,
    })
    const swaps = [swap('nadia', 'quinn', '2026-12-02 18:00'), swap('omar', 'nadia', '2026-12-03 08:00')]
    const clinic = withRota({ leave, swaps }, { roles })
    expect(who(clinic, '2026-12-03T05:00Z')).toBe('quinn')
    expect(who(clinic, '2026-12-03T15:00Z')).toBeUndefined()
  })
})

describe('a calendar', () => {
  const roles = { first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia') }
  const calendar = [
    { role: 'first', who: 'pilar', startsAt: at('2026-12-02T23:00Z'), endsAt: at('2026-12-03T13:00Z'), calendar: 'c' },
  ]
  it('stands above the week and below a dated change', () => {
    const changes = [change('first', '2026-12-03 00:00', '2026-12-03 04:00', 'quinn')]
    const clinic = withRota({ calendar, changes }, { roles })
    expect(dutyAt(clinic, 'first', at('2026-12-03T01:00Z'))).toMatchObject({
      who: 'pilar',
      by: 'calendar',
      calendar: 'c',
    })
    expect(who(clinic, '2026-12-03T06:00Z')).toBe('quinn')
    expect(who(clinic, '2026-12-03T14:00Z')).toBe('omar')
  })
})

describe('people who cannot be paged', () => {
  it('somebody who has left is passed over at once, and is a hole in the cover', () => {
    const people = [{ ...person('omar'), left: true }, person('nadia')]
    const clinic = clinicWith({
      people,
      roles: { first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia') },
      ladder: [
        { kind: 'role', role: 'first', when: always },
        { kind: 'desk', id: 'ward-desk', when: always },
      ],
    })
    const noon = at('2026-12-02T17:00Z')
    expect(rungsAt(clinic, noon).map(({ id }) => id)).toEqual(['ward-desk'])
    expect(rungsMissedAt(clinic, noon)).toEqual([{ rung: 0, because: 'has-left' }])
    expect(coverageOf(clinic, noon, later(noon, days(1))).rungs).toMatchObject([
      { role: 'first', because: 'has-left', who: 'omar', until: at('2026-12-02T23:00Z') },
      { role: 'first', because: 'has-left', who: 'omar', from: at('2026-12-03T13:00Z') },
    ])
  })

  it('two people in one role at once are told, whatever a changed clock brings is not', () => {
    const clinic = clinicWith({ roles: { first: everyDay('08:00-18:00 omar', '17:00-08:00 nadia') } })
    const found = coverageOf(clinic, at('2026-12-02T13:00Z'), at('2026-12-03T13:00Z')).overlaps
    expect(found).toEqual([
      { role: 'first', from: at('2026-12-02T22:00Z'), until: at('2026-12-02T23:00Z'), pages: 'nadia', also: 'omar' },
    ])
    const edge = clinicWith({ roles: { first: everyDay('01:30-13:00 omar', '13:00-01:30 nadia') } })
    expect(coverageOf(edge, at('2026-10-30T00:00Z'), at('2027-04-01T00:00Z')).overlaps).toEqual([])
  })
})

describe('the index', () => {
  const start = at('2026-11-30T12:00Z')
  const base = clinicWith({ zone: 'America/New_York' })
  const clinic = crowded(base, start)

  it('has five thousand entries and gives at any instant the answer of going through them all', () => {
    const { roles, changes, leave = [] } = clinic.rota
    expect(Object.values(roles).flat().length + changes.length + leave.length).toBe(5_000)
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: days(365) }),
        fc.constantFrom('first', 'second', 'third'),
        (ahead, role) => {
          const moment = instant(start + ahead)
          expect(dutyAt(clinic, role, moment)?.who).toBe(straightOnCall(clinic, role, moment))
        },
      ),
      { numRuns: 300 },
    )
  })

  it.each(['America/New_York', 'Australia/Lord_Howe', 'Africa/Casablanca', 'Asia/Kathmandu'])(
    'finds the holes of four months in %s that are found at every edge of every entry',
    zone => {
      const other = crowded({ ...base, zone }, start)
      const until = later(start, days(120))
      const ladder = [{ kind: 'role', role: 'first', when: always }] as const
      expect(coverageOf({ ...other, ladder }, start, until).empty).toEqual(straightGaps(other, 'first', start, until))
    },
    60_000,
  )

  it('agrees at every edge of the coming quarter with the ladder as it is walked for a page', () => {
    const { ladder } = clinicWith({
      ladder: [
        { kind: 'desk', id: 'day-desk', when: { kind: 'open' } },
        { kind: 'role', role: 'first', when: { kind: 'between', from: 1320, to: 420 } },
        { kind: 'role', role: 'second', when: { kind: 'closed' } },
      ],
    })
    const limited = { ...clinic, ladder }
    const { empty, single } = coverageOf(limited, start, later(start, days(90)))
    for (let moment = start; moment < start + days(90); moment = later(moment, 1_800_000 as never)) {
      const ids = new Set(rungsAt(limited, moment).map(({ id }) => id))
      const within = (list: readonly { from: number; until: number }[]) =>
        list.some(one => one.from <= moment && moment < one.until)
      expect(within(empty), iso(moment)).toBe(ids.size === 0)
      expect(within(single), iso(moment)).toBe(ids.size === 1)
    }
  })

  it('stretches over many blocks lie end to end', () => {
    const cut = stretches(clinic, 'first', start, later(start, days(300)))
    expect(cut.slice(1).map(one => one.from)).toEqual(cut.slice(0, -1).map(one => one.until))
    expect(cut.at(0)?.from).toBe(start)
    expect(cut.at(-1)?.until).toBe(start + days(300))
    for (const [place, one] of cut.entries())
      expect(one.duty === undefined || one.duty !== cut[place + 1]?.duty).toBe(true)
  })

  // The runtime's own formatter (ECMA-402) is the second opinion on an offset.
  it('offsets are those of the platform, also in months with two changes', () => {
    const zones = ['Africa/Casablanca', 'Antarctica/Troll', 'Australia/Lord_Howe', 'America/Santiago', 'Pacific/Apia']
    fc.assert(
      fc.property(
        fc.constantFrom(...zones),
        fc.date({ min: new Date('2010-01-01'), max: new Date('2040-01-01'), noInvalidDate: true }),
        (zone, date) => {
          const said = new Intl.DateTimeFormat('en-US', { timeZone: zone, timeZoneName: 'longOffset' }).format(date)
          const [, sign = '+', hour = '0', minute = '0'] = /GMT(?:([+-])(\d\d):(\d\d))?/.exec(said) ?? []
          const expected = (sign === '-' ? -1 : 1) * (Number(hour) * 60 + Number(minute)) * 60_000
          expect(offsetAt(zone, instant(date.getTime()))).toBeCloseTo(expected, 6)
        },
      ),
      { numRuns: 500 },
    )
  })
})
