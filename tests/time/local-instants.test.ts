import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import {
  dayEnd,
  dayShifted,
  dayStart,
  isDate,
  localInstants,
  localParts,
  monthShifted,
  skippedInstant,
  weekdayOf,
} from '../../src/time/local-instants.ts'
import { clockSaid, clockText, dayText, repeatedPass, weekdayAt } from '../../src/time/local-time.ts'

const ZONES = [
  'Europe/London',
  'America/New_York',
  'Australia/Lord_Howe',
  'Asia/Kathmandu',
  'America/Sao_Paulo',
  'Africa/Cairo',
]
const moment = fc.integer({ min: Date.UTC(2005, 0, 1), max: Date.UTC(2040, 0, 1) }).map(instant)

const iso = (at: number): string => new Date(at).toISOString().replace(':00.000Z', 'Z')
const instantsAt = (text: string, zone: string): readonly string[] => localInstants(partsOf(text), zone).map(iso)

function partsOf(text: string) {
  const [year = 0, month = 0, day = 0, hour = 0, minute = 0] = text.split(/\D/).map(Number)
  return { year, month, day, hour, minute }
}

describe('the instants of a local clock reading', () => {
  // Changes from the IANA tz database: London 2026-03-29 and 10-25, New York 03-08 and 11-01, Lord Howe (half an hour)
  // 2026-04-05 and 10-04; Kathmandu (+05:45) has none. São Paulo went forward at midnight on 2018-11-04.
  it.each([
    ['Europe/London', '2026-03-29 00:59', ['2026-03-29T00:59Z']],
    ['Europe/London', '2026-03-29 01:00', []],
    ['Europe/London', '2026-03-29 01:30', []],
    ['Europe/London', '2026-03-29 02:00', ['2026-03-29T01:00Z']],
    ['Europe/London', '2026-10-25 00:59', ['2026-10-24T23:59Z']],
    ['Europe/London', '2026-10-25 01:00', ['2026-10-25T00:00Z', '2026-10-25T01:00Z']],
    ['Europe/London', '2026-10-25 01:59', ['2026-10-25T00:59Z', '2026-10-25T01:59Z']],
    ['Europe/London', '2026-10-25 02:00', ['2026-10-25T02:00Z']],
    ['America/New_York', '2026-03-08 02:30', []],
    ['America/New_York', '2026-11-01 01:30', ['2026-11-01T05:30Z', '2026-11-01T06:30Z']],
    ['Australia/Lord_Howe', '2026-04-05 01:29', ['2026-04-04T14:29Z']],
    ['Australia/Lord_Howe', '2026-04-05 01:30', ['2026-04-04T14:30Z', '2026-04-04T15:00Z']],
    ['Australia/Lord_Howe', '2026-04-05 02:00', ['2026-04-04T15:30Z']],
    ['Australia/Lord_Howe', '2026-10-04 02:15', []],
    ['Australia/Lord_Howe', '2026-10-04 02:30', ['2026-10-03T15:30Z']],
    ['Asia/Kathmandu', '2026-06-10 02:00', ['2026-06-09T20:15Z']],
    ['America/Sao_Paulo', '2018-11-04 00:15', []],
  ] as const)('%s %s', (zone, text, expected) => expect(instantsAt(text, zone)).toEqual(expected))

  // luxon is the general-purpose reference: from an instant to the clock it is unambiguous.
  it('an instant is among the readings of its own clock, which shows what a general-purpose library shows', () => {
    fc.assert(
      fc.property(moment, fc.constantFrom(...ZONES), (at, zone) => {
        const minute = instant(Math.floor(at / 60_000) * 60_000)
        const { year, month, day, hour, minute: shown } = DateTime.fromMillis(minute, { zone })
        expect(localParts(minute, zone)).toEqual({ year, month, day, hour, minute: shown })
        const found = localInstants(localParts(minute, zone), zone)
        expect(found).toContain(minute)
        expect(found.length).toBeLessThanOrEqual(2)
      }),
    )
  })

  it('a skipped reading is ordered at the change itself', () => {
    expect(iso(skippedInstant(partsOf('2026-03-29 01:30'), 'Europe/London'))).toBe('2026-03-29T01:00Z')
    expect(iso(skippedInstant(partsOf('2026-10-04 02:15'), 'Australia/Lord_Howe'))).toBe('2026-10-03T15:30Z')
  })

  it('refuses a zone that does not exist', () => {
    expect(() => localParts(instant(0), 'Europe/Atlantis')).toThrow(/unknown zone "Europe\/Atlantis".*Europe\/London/)
  })
})

describe('calendar days', () => {
  it('start at midnight, or at the change that went over it', () => {
    expect(iso(dayStart(partsOf('2026-06-10'), 'Asia/Kathmandu'))).toBe('2026-06-09T18:15Z')
    // 00:00 to 01:00 was skipped: the day began at 01:00 summer time, 03:00Z.
    expect(iso(dayStart(partsOf('2018-11-04'), 'America/Sao_Paulo'))).toBe('2018-11-04T03:00Z')
  })

  it.each([
    ['2026-03-29', 23],
    ['2026-10-25', 25],
    ['2026-06-10', 24],
  ])('%s in London lasts %i hours', (text, hours) => {
    const day = partsOf(text)
    expect(dayEnd(day, 'Europe/London') + 1 - dayStart(day, 'Europe/London')).toBe(hours * 3_600_000)
  })

  it('shift on the calendar: a month that is shorter gives its last day', () => {
    expect(monthShifted(partsOf('2026-03-31'), -1)).toEqual({ year: 2026, month: 2, day: 28 })
    expect(dayShifted(partsOf('2024-03-01'), -1)).toEqual({ year: 2024, month: 2, day: 29 })
    expect([weekdayOf(partsOf('2026-03-01')), weekdayOf(partsOf('2026-03-02'))]).toEqual([7, 1])
    expect([isDate(partsOf('2026-02-29')), isDate(partsOf('2028-02-29'))]).toEqual([false, true])
  })
})

describe('a clock time in words', () => {
  const LONDON = 'Europe/London'
  it.each([
    ['2026-03-01T01:30:59Z', '12h', 'en', '1:30 am'],
    ['2026-03-01T13:05:00Z', '12h', 'en', '1:05 pm'],
    ['2026-03-01T00:00:00Z', '12h', 'en', '12:00 midnight'],
    ['2026-03-01T12:00:00Z', '12h', 'en', '12:00 noon'],
    ['2026-03-01T00:05:00Z', '12h', 'en', '12:05 am'],
    ['2026-03-01T01:30:00Z', '24h', 'en', '01:30'],
    ['2026-03-01T01:30:00Z', '12h', 'es', '1:30 a. m.'],
    ['2026-03-01T15:30:00Z', '12h', 'es', '3:30 p. m.'],
    ['2026-03-01T22:30:00Z', '12h', 'es-MX', '10:30 p. m.'],
    ['2026-03-01T00:00:00Z', '12h', 'es', '12:00 medianoche'],
    ['2026-03-01T12:00:00Z', '12h', 'es', '12:00 mediodía'],
    ['2026-10-25T00:30:00Z', '12h', 'en', '1:30 am (before clock change)'],
    ['2026-10-25T01:30:00Z', '12h', 'en', '1:30 am (after clock change)'],
    ['2026-10-25T01:30:00Z', '24h', 'es', '01:30 (después del cambio de hora)'],
    ['2026-10-25T02:30:00Z', '12h', 'en', '2:30 am'],
  ] as const)('%s (%s, %s) is "%s"', (at, style, language, text) => {
    expect(clockText(instant(Date.parse(at)), LONDON, style, language)).toBe(text)
  })

  // "a. m." and "p. m." with their spaces, and "de la noche" for the hour after midnight: Fundación del Español Urgente and Real
  // Academia Española, Diccionario panhispánico de dudas, "hora"; from memory.
  it.each([
    ['2026-03-01T01:30:59Z', '12h', 'en', '1:30 am'],
    ['2026-03-01T01:30:59Z', '24h', 'en', '01:30'],
    ['2026-03-01T01:30:00Z', '12h', 'es', 'la 1:30 de la mañana'],
    ['2026-03-01T13:05:00Z', '12h', 'es', 'la 1:05 de la tarde'],
    ['2026-03-01T15:30:00Z', '12h', 'es-MX', 'las 3:30 de la tarde'],
    ['2026-03-01T22:30:00Z', '12h', 'es', 'las 10:30 de la noche'],
    ['2026-03-01T00:05:00Z', '12h', 'es', 'las 12:05 de la noche'],
    ['2026-03-01T12:05:00Z', '12h', 'es', 'las 12:05 de la tarde'],
    ['2026-03-01T00:00:00Z', '12h', 'es', 'las 12:00 de la medianoche'],
    ['2026-03-01T12:00:00Z', '12h', 'es', 'las 12:00 del mediodía'],
    ['2026-03-01T01:30:00Z', '24h', 'es', 'la 01:30'],
    ['2026-03-01T13:30:00Z', '24h', 'es', 'las 13:30'],
    ['2026-10-25T00:30:00Z', '12h', 'es', 'la 1:30 de la mañana (antes del cambio de hora)'],
  ] as const)('%s (%s, %s) is said "%s" in a sentence', (at, style, language, text) => {
    expect(clockSaid(instant(Date.parse(at)), LONDON, style, language)).toBe(text)
  })

  it('two instants of one night never have the same words, clock change or not', () => {
    fc.assert(
      fc.property(fc.nat(600), fc.nat(600), (first, second) => {
        const from = Date.parse('2026-10-24T22:00:00Z')
        const [a, b] = [first, second].map(minute => clockText(instant(from + minute * 60_000), LONDON, '24h', 'en'))
        expect(a === b).toBe(first === second)
      }),
    )
  })

  it('says which pass of a repeated hour it is, and nothing in any other', () => {
    const passAt = (at: string) => repeatedPass(instant(Date.parse(at)), LONDON)
    expect(['2026-10-24T23:59Z', '2026-10-25T00:59Z', '2026-10-25T01:00Z', '2026-10-25T02:00Z'].map(passAt)).toEqual([
      undefined,
      'first',
      'second',
      undefined,
    ])
  })

  it.each([
    ['2026-03-01T12:00Z', '2026-03-01T02:10Z', 'today'],
    ['2026-02-28T23:59Z', '2026-03-01T02:10Z', 'yesterday'],
    ['2026-03-02T00:00Z', '2026-03-01T02:10Z', 'tomorrow'],
    ['2026-02-20T12:00Z', '2026-03-01T02:10Z', 'Friday 20 February'],
    ['2025-12-25T12:00Z', '2026-03-01T02:10Z', 'Thursday 25 December 2025'],
  ])('%s seen from %s is %s', (at, seenFrom, text) => {
    expect(dayText(instant(Date.parse(at)), LONDON, instant(Date.parse(seenFrom)), 'en')).toBe(text)
  })

  it('a weekday is that of the zone', () => {
    // 2026-03-01 is a Sunday; at 20:15Z it is Monday in Kathmandu.
    expect(weekdayAt(instant(Date.parse('2026-03-01T20:15Z')), LONDON)).toBe(0)
    expect(weekdayAt(instant(Date.parse('2026-03-01T20:15Z')), 'Asia/Kathmandu')).toBe(1)
  })
})
