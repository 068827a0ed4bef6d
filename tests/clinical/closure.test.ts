import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { arrivalOf, type Closure, closureOf, closureTimes, nextCrossing, reachOf } from '../../src/clinical/closure.ts'
import { type Instant, instant, minutes } from '../../src/time/instant.ts'
import type { Between } from '../../src/time/span.ts'
import { defaultThresholds } from '../support/shipped-thresholds.ts'
import { clock, clockText, remembered, travel } from './remembered.ts'

const MINUTE = 60_000
const shipped = defaultThresholds

/**
 * Worked by hand: leave-by = earliest out + 60 min − longest drive. The lengths are common practice, no source (tube back
 * within 1 to 2 hours); published bodies allow 2 hours (Troubleshooting G-tubes and J-tubes; emDocs; 2010s) to 4
 * (Gastrostomy: acute replacement of displaced tubes; Royal Children's Hospital Melbourne; undated copy), so the
 * shipped figures are never later than a published one. "May close completely within a few hours": leaflet 01178; Kent
 * Community Health NHS Foundation Trust; 2021.
 */
describe('leave-by, worked by hand', () => {
  it.each([
    // out earliest, out latest, drive at least, at most → leave by, may begin to close, back by, overdue
    ['01:30', '01:45', 20, 25, '02:05', '02:30', '03:30', '05:30'],
    ['01:30', '01:30', 25, 25, '02:05', '02:30', '03:30', '05:30'],
    ['01:30', '04:00', 25, 25, '02:05', '02:30', '03:30', '05:30'],
    ['00:00', '00:10', 0, 0, '01:00', '01:00', '02:00', '04:00'],
    ['23:15', '23:15', 10, 15, '00:00', '00:15', '01:15', '03:15'],
    // A drive as long as the hour: leave as soon as it came out. A longer one: the time to leave lies before that.
    ['02:00', '02:00', 45, 60, '02:00', '03:00', '04:00', '06:00'],
    ['02:00', '02:00', 60, 90, '01:30', '03:00', '04:00', '06:00'],
  ])('out %s to %s, drive %d to %d min: leave by %s', (early, late, least, most, leave, soonest, latest, overdue) => {
    const times = closureTimes(remembered(clock(early), clock(late)), travel(least, most), shipped)
    expect([times.leaveBy, times.soonestAt, times.latestAt, times.overdueAt].map(clockText)).toEqual([
      leave,
      soonest,
      latest,
      overdue,
    ])
  })

  it.each(['unsure' as const, undefined])('a drive that is %s: leave from the moment it came out', drive => {
    const times = closureTimes(remembered(clock('01:30'), clock('01:45')), drive, shipped)
    expect(clockText(times.leaveBy)).toBe('01:30')
  })

  it('crosses midnight and a clock change as plain elapsed time', () => {
    // London, 25 October 2026: out at 01:30 summer time; 60 minutes later the clock shows 01:30 again.
    const out = instant(Date.parse('2026-10-25T01:30:00+01:00'))
    const times = closureTimes(remembered(out, out), travel(10, 20), shipped)
    expect(times.leaveBy).toBe(Date.parse('2026-10-25T01:10:00+00:00'))
  })
})

describe('the band of the closure clock', () => {
  const out = remembered(clock('01:30'), clock('01:45'))
  it.each<[string, Closure]>([
    ['01:30', 'time-left'],
    ['02:04', 'time-left'],
    ['02:05', 'leave-now'],
    ['02:30', 'leave-now'],
    ['03:29', 'leave-now'],
    ['03:30', 'past-latest'],
    ['05:29', 'past-latest'],
    ['05:30', 'overdue'],
    ['+05:30', 'overdue'],
  ])('out at 01:30, 25 minutes to drive: at %s %s', (at, band) => {
    expect(closureOf(closureTimes(out, travel(20, 25), shipped), clock(at))).toBe(band)
  })

  it('changes at the very millisecond of each time, and not one before', () => {
    const times = closureTimes(out, travel(20, 25), shipped)
    const bandsAround = [times.leaveBy, times.latestAt, times.overdueAt].map(at => [
      closureOf(times, instant(at - 1)),
      closureOf(times, at),
    ])
    expect(bandsAround).toEqual([
      ['time-left', 'leave-now'],
      ['leave-now', 'past-latest'],
      ['past-latest', 'overdue'],
    ])
  })

  it('not knowing when it came out is a band of its own, with no crossing to wait for', () => {
    const times = closureTimes('unsure', travel(20, 25), shipped)
    expect(closureOf(times, clock('01:30'))).toBe('unknown')
    expect(nextCrossing(times, clock('01:30'))).toBeUndefined()
  })

  it('not knowing the drive never leaves time', () => {
    const times = closureTimes(out, 'unsure', shipped)
    expect(closureOf(times, clock('01:30'))).toBe('leave-now')
  })
})

const urgency: readonly Closure[] = ['time-left', 'leave-now', 'past-latest', 'overdue']
const rank = (band: Closure): number => urgency.indexOf(band)
const base = clock('02:00')
const moment = fc.integer({ min: -600, max: 600 }).map(offset => instant(base + offset * MINUTE))
const memory = fc
  .tuple(moment, fc.integer({ min: 0, max: 300 }))
  .map(([earliest, width]): Between => remembered(earliest, earliest + width * MINUTE))
const drive = fc.oneof(
  fc.constant('unsure' as const),
  fc
    .tuple(fc.integer({ min: 0, max: 90 }), fc.integer({ min: 0, max: 90 }))
    .map(([least, more]) => travel(least, least + more)),
)
const bandAt = (out: Between, way: ReturnType<typeof travel> | 'unsure', at: Instant): number =>
  rank(closureOf(closureTimes(out, way, shipped), at))

describe('the closure clock only ever grows more urgent', () => {
  it('a tube out earlier never gives a milder band', () => {
    fc.assert(
      fc.property(memory, drive, moment, fc.nat(300), (out, way, at, earlier) => {
        const sooner = { ...out, earliest: instant(out.earliest - earlier * MINUTE) }
        expect(bandAt(sooner, way, at)).toBeGreaterThanOrEqual(bandAt(out, way, at))
      }),
    )
  })
  it('a later now never gives a milder band', () => {
    fc.assert(
      fc.property(memory, drive, moment, fc.nat(600), (out, way, at, later) => {
        expect(bandAt(out, way, instant(at + later * MINUTE))).toBeGreaterThanOrEqual(bandAt(out, way, at))
      }),
    )
  })
  it('a longer drive never gives a milder band, and the latest end of the memory never counts', () => {
    fc.assert(
      fc.property(memory, moment, fc.nat(60), fc.nat(60), fc.nat(300), (out, at, least, more, late) => {
        const short = travel(least, least)
        expect(bandAt(out, travel(least, least + more), at)).toBeGreaterThanOrEqual(bandAt(out, short, at))
        const wider = { ...out, latest: instant(out.latest + late * MINUTE) }
        expect(bandAt(wider, short, at)).toBe(bandAt(out, short, at))
      }),
    )
  })
  it('an alarm at every next crossing sees every change of the band, and a change only there', () => {
    fc.assert(
      fc.property(memory, drive, moment, (out, way, from) => {
        const times = closureTimes(out, way, shipped)
        let at = from
        for (let next = nextCrossing(times, at); next !== undefined; next = nextCrossing(times, at)) {
          expect(next).toBeGreaterThan(at)
          expect(closureOf(times, instant(next - 1))).toBe(closureOf(times, at))
          at = next
        }
        expect(closureOf(times, at)).toBe('overdue')
      }),
    )
  })
})

describe('reach: there before the latest', () => {
  const out = remembered(clock('01:30'), clock('01:40'))
  it.each([
    // now, longest drive, whether there before 03:30
    ['02:00', 89, 'in-time'],
    ['02:00', 90, 'not-in-time'],
    ['03:10', 19, 'in-time'],
    ['03:10', 20, 'not-in-time'],
    ['03:30', 0, 'not-in-time'],
  ] as const)('leaving at %s with %d minutes to drive: %s', (at, most, reach) => {
    expect(reachOf(out, travel(0, most), shipped, clock(at))).toBe(reach)
  })
  it('is not known without the drive or the moment it came out', () => {
    expect(reachOf(out, 'unsure', shipped, clock('02:00'))).toBe('unknown')
    expect(reachOf(out, undefined, shipped, clock('02:00'))).toBe('unknown')
    expect(reachOf('unsure', travel(5, 5), shipped, clock('02:00'))).toBe('unknown')
  })
  it('arrival lies between the shortest and the longest drive', () => {
    const arrival = arrivalOf(clock('02:05'), travel(20, 25))
    expect([arrival.earliest, arrival.latest].map(clockText)).toEqual(['02:25', '02:30'])
  })
})

it('a clinic that sets other lengths gets its own times', () => {
  const own = {
    ...shipped,
    'closure-soonest': minutes(30),
    'closure-latest': minutes(60),
    'closure-overdue': minutes(90),
  }
  const times = closureTimes(remembered(clock('01:30'), clock('01:30')), travel(10, 10), own)
  expect([times.leaveBy, times.soonestAt, times.latestAt, times.overdueAt].map(clockText)).toEqual([
    '01:50',
    '02:00',
    '02:30',
    '03:00',
  ])
})
