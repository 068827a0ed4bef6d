import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import {
  blockEnd,
  dayNumberOf,
  instantsOf,
  isMinuteWithin,
  offsetAt,
  wallTimeAt,
  weekdayOf,
} from '../../src/oncall/wall-time.ts'
import { instant } from '../../src/time/instant.ts'
import { at, iso, minute, wall } from './clinic-built.ts'

const zones = [
  'America/New_York',
  'Europe/London',
  'Australia/Lord_Howe',
  'Pacific/Apia',
  'Africa/Casablanca',
  'Asia/Kathmandu',
  'America/St_Johns',
]
const moment = fc.integer({ min: Date.UTC(2000, 0, 1), max: Date.UTC(2040, 0, 1) }).map(instant)

describe('wall time', () => {
  // luxon is the general-purpose reference: instant to wall clock is unambiguous.
  it('agrees with a general-purpose library on offset, clock and weekday of any instant', () => {
    fc.assert(
      fc.property(moment, fc.constantFrom(...zones), (when, zone) => {
        const reference = DateTime.fromMillis(when, { zone })
        const { day, minute: clock } = wallTimeAt(zone, when)
        expect(offsetAt(zone, when)).toBe(reference.offset * 60_000)
        expect(clock).toBe(reference.hour * 60 + reference.minute)
        expect(day).toBe(dayNumberOf(reference.year, reference.month, reference.day))
        expect(weekdayOf(day)).toBe(reference.setLocale('en').toFormat('cccc').toLowerCase())
      }),
    )
  })

  it('any instant is one of the readings of its own wall time', () => {
    fc.assert(
      fc.property(moment, fc.constantFrom(...zones), (when, zone) => {
        const whole = instant(Math.floor(when / 60_000) * 60_000)
        const { earlier, later } = instantsOf(zone, wallTimeAt(zone, whole))
        expect([earlier, later]).toContain(whole)
        expect(earlier).toBeLessThanOrEqual(later)
      }),
    )
  })

  it('does not depend on the season in which it is asked', () => {
    const { earlier, later } = instantsOf('Europe/London', wall('2026-10-25 01:30'))
    expect([iso(earlier), iso(later)]).toEqual(['2026-10-25T00:30Z', '2026-10-25T01:30Z'])
  })

  it('a day that a zone left out lies between its neighbours', () => {
    // Apia went from 29 to 31 December 2011 (IANA tz database).
    const { earlier, later } = instantsOf('Pacific/Apia', wall('2011-12-30 12:00'))
    expect(earlier).toBeLessThanOrEqual(at('2011-12-30T10:00Z'))
    expect(later).toBeGreaterThanOrEqual(at('2011-12-30T10:00Z'))
  })

  it.each([
    [2026, 2, 29, undefined],
    [2028, 2, 29, Date.UTC(2028, 1, 29) / 86_400_000],
    [2026, 13, 1, undefined],
    [2026, 0, 1, undefined],
    [2026, 4, 31, undefined],
    [2026, 4, 0, undefined],
    [1970, 1, 1, 0],
  ])('%i-%i-%i is day %s', (year, month, day, expected) => {
    expect(dayNumberOf(year, month, day)).toBe(expected)
  })

  it.each([
    ['07:59', '08:00', '18:00', false],
    ['08:00', '08:00', '18:00', true],
    ['17:59', '08:00', '18:00', true],
    ['18:00', '08:00', '18:00', false],
    ['23:59', '22:00', '07:00', true],
    ['06:59', '22:00', '07:00', true],
    ['07:00', '22:00', '07:00', false],
    ['12:00', '08:00', '08:00', true],
    ['23:59', '20:00', '24:00', true],
  ])('%s lies in %s-%s: %s', (clock, from, to, expected) => {
    expect(isMinuteWithin(minute(clock), minute(from), minute(to))).toBe(expected)
  })

  it.each([
    ['08:00', '18:00', { day: 5, minute: 1080 }],
    ['18:00', '08:00', { day: 6, minute: 480 }],
    ['08:00', '08:00', { day: 6, minute: 480 }],
    ['18:00', '24:00', { day: 6, minute: 0 }],
    ['18:00', '00:00', { day: 6, minute: 0 }],
  ])('a block %s-%s of day 5 ends at %o', (from, to, expected) => {
    expect(blockEnd(5, minute(from), minute(to))).toEqual(expected)
  })
})
