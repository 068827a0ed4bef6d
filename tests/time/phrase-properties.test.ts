import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type Instant, instant } from '../../src/time/instant.ts'
import { localParts } from '../../src/time/local-instants.ts'
import { readDate, readMoment } from '../../src/time/phrases.ts'
import { since } from '../../src/time/span.ts'

const ZONES = ['Europe/London', 'America/New_York', 'Australia/Lord_Howe', 'Asia/Kathmandu'] as const
const MINUTE = 60_000
/** Any second of two years, and the clock-change nights over and over. */
const CHANGES = [
  '2026-03-29T01:00Z',
  '2026-10-25T01:00Z',
  '2026-03-08T07:00Z',
  '2026-11-01T06:00Z',
  '2026-04-04T15:00Z',
  '2026-10-03T15:30Z',
]
const moment = fc
  .oneof(
    fc.integer({ min: Date.parse('2025-06-01T00:00Z'), max: Date.parse('2027-06-01T00:00Z') }),
    fc
      .tuple(fc.constantFrom(...CHANGES), fc.integer({ min: -240, max: 240 }))
      .map(([at, off]) => Date.parse(at) + off * MINUTE),
  )
  .map(at => instant(Math.floor(at / 1000) * 1000))
const zone = fc.constantFrom(...ZONES)
const english = (at: Instant, inZone: string) => ({ at, zone: inZone, language: 'en' })

const TIMES = [
  'just now',
  '20 minutes ago',
  'about 20 minutes ago',
  'half an hour ago',
  'an hour and a half ago',
  '2-3 hours ago',
  'less than an hour ago',
  'nearly 2 hours ago',
  'at 3',
  'at 9:40',
  '2140',
  'half past nine',
  'midnight',
  'around 2',
  'last night at 10',
  'yesterday at 9pm',
  'between 1:30 and 2',
  'quarter to ten',
  'this morning at 3',
  'last saw it in at half 1',
  'not 20 minutes, more like an hour',
  'at 1:30',
  '2:15 am',
  'friday at 9pm',
  '3 days ago',
  'in the last half hour',
]
const DATES = [
  '3 weeks ago',
  'about 3 weeks ago',
  'in August',
  'last August',
  'last week',
  'yesterday',
  'today',
  '3 Aug',
  '29 Feb',
  'two months ago',
  'about a year ago',
  'on friday',
  'last friday',
  'less than 3 weeks ago',
  'over a year ago',
  'this week',
  'last month',
  '6-8 weeks ago',
]

describe('whatever is read', () => {
  it('is an interval in the past, its ends in order, whole minutes at the earlier', () => {
    fc.assert(
      fc.property(moment, zone, fc.constantFrom(...TIMES), (at, inZone, text) => {
        const reading = readMoment(text, english(at, inZone))
        if (reading.kind === 'ask') {
          expect(['time-unclear', 'time-future', 'time-impossible', 'time-twice', 'two-answers']).toContain(
            reading.reason,
          )
          return
        }
        expect(reading.earliest).toBeLessThanOrEqual(reading.latest)
        expect(reading.latest).toBeLessThanOrEqual(at)
        expect(reading.earliest % MINUTE).toBe(0)
      }),
      { numRuns: 400 },
    )
  })

  it('of a date begins and ends with the day of the zone, and never after now', () => {
    fc.assert(
      fc.property(moment, zone, fc.constantFrom(...DATES), (at, inZone, text) => {
        const reading = readDate(text, english(at, inZone))
        if (reading.kind === 'ask') return
        expect(localParts(reading.earliest, inZone)).toMatchObject({ hour: 0, minute: 0 })
        expect(reading.latest).toBeLessThanOrEqual(at)
        if (reading.latest < at)
          expect(localParts(instant(reading.latest + 1), inZone)).toMatchObject({ hour: 0, minute: 0 })
      }),
      { numRuns: 400 },
    )
  })
})

describe('time passing', () => {
  it('words that were read at one moment mean ever longer ago as time goes on', () => {
    fc.assert(
      fc.property(
        moment,
        zone,
        fc.constantFrom(...TIMES),
        fc.nat(600),
        fc.nat(600),
        (at, inZone, text, first, more) => {
          const reading = readMoment(text, english(at, inZone))
          if (reading.kind === 'ask') return
          const soon = since(reading, instant(at + first * MINUTE))
          const later = since(reading, instant(at + (first + more) * MINUTE))
          expect(later.atMost).toBeGreaterThanOrEqual(soon.atMost)
          expect(later.atLeast).toBeGreaterThanOrEqual(soon.atLeast)
        },
      ),
    )
  })
})

describe('a number that is no time', () => {
  it.each([
    'after 2 feeds',
    'at 2 feeds',
    'after one bottle',
    '2 nappies ago',
    'size 14 tube at 2',
    'came out of hospital at 2',
    'it is not out',
    'hasnt come out',
    'in at 1 and back in at 2',
    'came out at 2 and went back at 3',
  ])('is not taken for one: "%s" is asked about', text => {
    const at = instant(Date.parse('2026-03-01T02:10Z'))
    expect(readMoment(text, english(at, 'Europe/London')).kind).toBe('ask')
  })
})
