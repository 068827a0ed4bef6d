import { describe, expect, it } from 'vitest'
import { promiseDueAt } from '../../src/oncall/acknowledgement.ts'
import type { Rung } from '../../src/oncall/clinic.ts'
import { coverageOf } from '../../src/oncall/coverage.ts'
import { ladderTimes, rungsAt, rungsMissedAt } from '../../src/oncall/ladder.ts'
import { isOpen, nextOpening } from '../../src/oncall/opening.ts'
import { minutes } from '../../src/time/instant.ts'
import { always, at, clinicWith, desk, everyDay, iso, minute, officeHours, person, wall } from './clinic-built.ts'

const role = (name: string, when: Rung['when'] = always): Rung => ({ kind: 'role', role: name, when })
const deskRung = (id: string, when: Rung['when'] = always): Rung => ({ kind: 'desk', id, when })
const personRung = (id: string, when: Rung['when'] = always): Rung => ({ kind: 'person', id, when })

describe('ladder by hour of day', () => {
  const clinic = clinicWith({
    roles: {
      first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia'),
      second: everyDay('08:00-08:00 pilar'),
    },
    ladder: [
      deskRung('day-desk', { kind: 'open' }),
      role('first'),
      role('second', { kind: 'closed' }),
      personRung('quinn', { kind: 'between', from: minute('22:00'), to: minute('07:00') }),
      deskRung('ward-desk'),
    ],
  })
  // Wednesday 6 January 2027 in New York (UTC-5); open 08:00 to 17:00.
  it.each([
    ['2027-01-06T12:59Z', ['nadia', 'pilar', 'ward-desk']], // 07:59
    ['2027-01-06T13:00Z', ['day-desk', 'omar', 'ward-desk']], // 08:00: the desk first by day
    ['2027-01-06T21:59Z', ['day-desk', 'omar', 'ward-desk']],
    ['2027-01-06T22:00Z', ['omar', 'pilar', 'ward-desk']], // 17:00: closed
    ['2027-01-07T02:59Z', ['nadia', 'pilar', 'ward-desk']], // 21:59
    ['2027-01-07T03:00Z', ['nadia', 'pilar', 'quinn', 'ward-desk']], // 22:00
    ['2027-01-07T11:59Z', ['nadia', 'pilar', 'quinn', 'ward-desk']], // 06:59
    ['2027-01-07T12:00Z', ['nadia', 'pilar', 'ward-desk']], // 07:00
    ['2027-01-09T16:00Z', ['omar', 'pilar', 'ward-desk']], // Saturday: no day desk
  ])('%s pages %j', (moment, expected) => {
    expect(rungsAt(clinic, at(moment)).map(one => one.id)).toEqual(expected)
    expect(rungsMissedAt(clinic, at(moment))).toEqual([])
  })

  it('tells for each who they are, how they were found and where they are paged', () => {
    const [first, second, third] = rungsAt(clinic, at('2027-01-06T13:00Z'))
    expect(first).toEqual({
      rung: 0,
      kind: 'desk',
      id: 'day-desk',
      name: 'The day-desk',
      words: 'Ask for the nurse in charge.',
      pageAt: [{ pager: 'board', address: '' }],
    })
    expect(second).toEqual({
      rung: 1,
      kind: 'person',
      id: 'omar',
      name: 'Nurse omar',
      role: 'first',
      pageAt: [{ pager: 'smtp', address: 'omar@clinic.example' }],
    })
    expect(third?.rung).toBe(4)
  })
})

describe('rungs that lead to nobody', () => {
  it('are passed over and told, and the rest still stands', () => {
    const clinic = clinicWith({
      roles: { first: [], second: everyDay('00:00-24:00 pilar') },
      people: [person('pilar'), { ...person('quinn'), pageAt: [] }],
      ladder: [role('first'), personRung('ghost'), personRung('quinn'), role('second')],
    })
    expect(rungsAt(clinic, at('2027-01-06T12:00Z')).map(one => one.id)).toEqual(['pilar'])
    expect(rungsMissedAt(clinic, at('2027-01-06T12:00Z'))).toEqual([
      { rung: 0, because: 'nobody-on-call' },
      { rung: 1, because: 'unknown-id' },
      { rung: 2, because: 'no-address' },
    ])
  })

  it('one who would follow directly on themselves is paged once; after another they are paged again', () => {
    const roles = { first: everyDay('00:00-24:00 omar'), second: everyDay('00:00-24:00 omar') }
    const ids = (ladder: Rung[]) => rungsAt(clinicWith({ roles, ladder }), at('2027-01-06T12:00Z')).map(one => one.id)
    expect(ids([role('first'), role('second'), deskRung('ward-desk')])).toEqual(['omar', 'ward-desk'])
    expect(ids([role('first'), deskRung('ward-desk'), role('second')])).toEqual(['omar', 'ward-desk', 'omar'])
    expect(ids([role('first'), personRung('ghost'), role('second')])).toEqual(['omar'])
  })

  it('a rung out of hours is not a rung missed', () => {
    const clinic = clinicWith({
      roles: { first: [] },
      ladder: [role('first', { kind: 'open' }), deskRung('ward-desk')],
    })
    expect(rungsMissedAt(clinic, at('2027-01-06T08:00Z'))).toEqual([])
    expect(rungsMissedAt(clinic, at('2027-01-06T15:00Z'))).toEqual([{ rung: 0, because: 'nobody-on-call' }])
  })
})

describe('cover of the ladder', () => {
  const week = [at('2027-01-04T05:00Z'), at('2027-01-11T05:00Z')] as const

  it('a role needs cover only while its rung is in use', () => {
    const roles = { first: everyDay('16:00-09:00 nadia') }
    const limited = clinicWith({
      roles,
      ladder: [deskRung('day-desk', { kind: 'open' }), role('first', { kind: 'closed' })],
    })
    const found = coverageOf(limited, ...week).rungs
    // Closed from 09:00 to 16:00 only on Saturday and Sunday.
    expect(found.map(one => [one.role, iso(one.from), iso(one.until)])).toEqual([
      ['first', '2027-01-09T14:00Z', '2027-01-09T21:00Z'],
      ['first', '2027-01-10T14:00Z', '2027-01-10T21:00Z'],
    ])
    expect(coverageOf(clinicWith({ roles, ladder: [role('first')] }), ...week).rungs).toHaveLength(7)
  })

  it('hours in which the ladder reaches nobody are found, by rung hours too', () => {
    const clinic = clinicWith({
      ladder: [deskRung('ward-desk', { kind: 'between', from: minute('06:00'), to: minute('23:30') })],
    })
    const found = coverageOf(clinic, at('2027-01-04T12:00Z'), at('2027-01-05T12:00Z')).empty
    expect(found.map(one => [iso(one.from), iso(one.until)])).toEqual([['2027-01-05T04:30Z', '2027-01-05T11:00Z']])
    expect(coverageOf(clinicWith(), ...week).empty).toEqual([])
  })

  it('rung hours are followed across the night the clocks change', () => {
    const clinic = clinicWith({
      ladder: [deskRung('ward-desk', { kind: 'between', from: minute('03:00'), to: minute('01:30') })],
    })
    const found = coverageOf(clinic, at('2026-11-01T04:00Z'), at('2026-11-01T12:00Z')).empty
    // 01:30 comes twice; at 02:00 the clock goes back to 01:00 and the desk is in use again until the second 01:30.
    expect(found.map(one => [iso(one.from), iso(one.until)])).toEqual([
      ['2026-11-01T05:30Z', '2026-11-01T06:00Z'],
      ['2026-11-01T06:30Z', '2026-11-01T08:00Z'],
    ])
  })

  it('a ladder that is one person at some hours is told with these hours', () => {
    const clinic = clinicWith({
      roles: {
        first: everyDay('08:00-18:00 omar', '18:00-08:00 nadia'),
        second: everyDay('08:00-20:00 pilar', '20:00-08:00 nadia'),
      },
      ladder: [role('first'), role('second')],
    })
    const found = coverageOf(clinic, at('2027-01-04T17:00Z'), at('2027-01-05T17:00Z')).single
    expect(found.map(one => [one.id, iso(one.from), iso(one.until)])).toEqual([
      ['nadia', '2027-01-05T01:00Z', '2027-01-05T13:00Z'],
    ])
  })
})

describe('opening hours', () => {
  const clinic = clinicWith({
    opening: {
      weekly: { ...officeHours.weekly, saturday: [{ from: minute('22:00'), to: minute('02:00') }] },
      dates: {
        [wall('2027-01-06 00:00').day]: [],
        [wall('2027-01-10 00:00').day]: [{ from: minute('10:00'), to: minute('11:00') }],
      },
    },
  })
  it.each([
    ['2027-01-05T12:59Z', false, '2027-01-05T13:00Z'],
    ['2027-01-05T13:00Z', true, '2027-01-05T13:00Z'],
    ['2027-01-05T21:59Z', true, '2027-01-05T21:59Z'],
    ['2027-01-05T22:00Z', false, '2027-01-07T13:00Z'], // closed all Wednesday, by date
    ['2027-01-06T15:00Z', false, '2027-01-07T13:00Z'],
    ['2027-01-10T06:59Z', true, '2027-01-10T06:59Z'], // Sunday 01:59, still Saturday's span
    ['2027-01-10T07:00Z', false, '2027-01-10T15:00Z'],
    ['2027-01-10T15:30Z', true, '2027-01-10T15:30Z'], // Sunday open by date
  ])('at %s open is %s, next opening %s', (moment, open, next) => {
    expect(isOpen(clinic, at(moment))).toBe(open)
    expect(iso(nextOpening(clinic, at(moment)) ?? 0)).toBe(next)
  })

  it('a clinic that never opens has no next opening', () => {
    const weekly = { monday: [], tuesday: [], wednesday: [], thursday: [], friday: [], saturday: [], sunday: [] }
    expect(nextOpening(clinicWith({ opening: { weekly, dates: {} } }), at('2027-01-05T12:00Z'))).toBeUndefined()
  })
})

describe('times', () => {
  const settings = {
    'ladder-urgent': [minutes(3), minutes(5), minutes(10)],
    'ladder-speak': [minutes(10), minutes(20), minutes(30)],
    'promise-grace': minutes(5),
  } as const
  it.each([
    ['ambulance', 3, 5, 10],
    ['set-out', 3, 5, 10],
    ['speak', 10, 20, 30],
  ] as const)(
    '%s: again after %d min, next person after %d, last and family told by %d',
    (urgency, repeat, next, last) => {
      expect(ladderTimes(urgency, settings)).toEqual({
        repeatAfter: minutes(repeat),
        nextAfter: minutes(next),
        lastAfter: minutes(last),
      })
    },
  )
  it('a promised call is missed five minutes after the promised time', () => {
    expect(iso(promiseDueAt(at('2027-01-06T07:25Z'), settings))).toBe('2027-01-06T07:30Z')
  })
})

describe('desk', () => {
  it('stands in the rota as a person does', () => {
    const clinic = clinicWith({ roles: { first: everyDay('00:00-24:00 ward-desk') }, desks: [desk('ward-desk')] })
    expect(rungsAt(clinic, at('2027-01-06T12:00Z'))[0]).toMatchObject({ kind: 'desk', id: 'ward-desk', role: 'first' })
  })
})
