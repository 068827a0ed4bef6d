import { describe, expect, it } from 'vitest'
import { type Instant, instant, minutes } from '../../src/time/instant.ts'
import { type ClockStyle, clockText, dayText } from '../../src/time/local-time.ts'
import { aLine, demoClinic } from '../support/a-line.ts'
import { alarmsOf, aNight, plain, reachable, upTo } from '../support/line-night.ts'

/**
 * The nights on which the clocks change, through the whole bot. The reference is not our own arithmetic: offsets and clock
 * readings come from `Intl.DateTimeFormat` of the runtime, ICU's copy of the IANA time zone database.
 */
const ZONES = [
  'Europe/London',
  'America/New_York',
  'Australia/Lord_Howe',
  'Asia/Kathmandu',
  'America/Santiago',
  'Pacific/Chatham',
  'UTC',
] as const

/** Minutes east of UTC, from the general-purpose reference: "GMT+10:30". */
function offsetOf(at: number, zone: string): number {
  const parts = new Intl.DateTimeFormat('en', { timeZone: zone, timeZoneName: 'longOffset' }).formatToParts(at)
  const [, sign = '+', hour = '0', minute = '0'] =
    /GMT([+-])(\d\d):(\d\d)/.exec(parts.find(({ type }) => type === 'timeZoneName')?.value ?? '') ?? []
  return (sign === '-' ? -1 : 1) * (Number(hour) * 60 + Number(minute))
}

/** What the reference shows on a clock of 24 hours. */
const shown = (at: number, zone: string): string =>
  new Intl.DateTimeFormat('en-GB', { timeZone: zone, hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(at)

/** The changes of 2026, to the minute, with by how many minutes the clock moved. */
function changesOf(zone: string): { readonly at: Instant; readonly by: number }[] {
  const hour = 3_600_000
  const changes: { at: Instant; by: number }[] = []
  for (let from = Date.UTC(2026, 0, 1); from < Date.UTC(2027, 0, 1); from += 12 * hour) {
    const by = offsetOf(from + 12 * hour, zone) - offsetOf(from, zone)
    if (by === 0) continue
    let at = from
    while (offsetOf(at, zone) === offsetOf(from, zone)) at += 60_000
    changes.push({ at: instant(at), by })
  }
  return changes
}

/** Change nights; where a zone has none, an ordinary midnight of the winter stands for them. */
const NIGHTS = ZONES.flatMap(zone => {
  const changes = changesOf(zone)
  if (changes.length > 0) return changes.map(({ at, by }) => [zone, new Date(at).toISOString(), by, at] as const)
  const at = instant(Date.UTC(2026, 11, 6))
  return [[zone, new Date(at).toISOString(), 0, at] as const]
})

it('the reference knows two changes a year where the clocks change, half an hour at Lord Howe, none elsewhere', () => {
  expect(ZONES.map(zone => changesOf(zone).map(({ by }) => by))).toEqual([
    [60, -60],
    [60, -60],
    [-30, 30],
    [],
    [-60, 60],
    [-60, 60],
    [],
  ])
})

describe.each(NIGHTS)('%s, %s (%i min)', (zone, _when, _by, changeAt) => {
  it.each(['12h', '24h'] as const)(
    'no two moments are written alike, and each is what a clock there shows: %s',
    style => {
      const seen = new Map<string, number>()
      for (let minute = -180; minute <= 180; minute += 5) {
        const at = instant(changeAt + minutes(Math.abs(minute)) * Math.sign(minute))
        const text = clockText(at, zone, style as ClockStyle, 'en')
        expect(clock24(text), text).toBe(shown(at, zone))
        const whole = `${dayText(at, zone, changeAt, 'en')} ${text}`
        expect(seen.has(whole), `${whole} twice`).toBe(false)
        seen.set(whole, at)
      }
    },
  )

  // Leave-by is thirty minutes after the start: before the change, and after it.
  it.each([
    ['before', 40],
    ['after', 20],
  ] as const)(
    'alarms come by the time that passes, and a time to leave %s the change says which it is',
    async (_side, minutesBefore) => {
      const clinic = reachable({ ...demoClinic(), zone })
      const night = await aNight(aLine({}, { clinic }), instant(changeAt - minutes(minutesBefore)))
      await upTo(night, 'ring-back')
      const leaveBy = instant(
        changeAt +
          minutes(30 - minutesBefore > 0 ? 30 - minutesBefore : minutesBefore - 30) * Math.sign(30 - minutesBefore),
      )
      const told = night.delivered.flatMap(({ parts }) =>
        parts.filter(part => 'id' in part && part.id === 'leave-by-time'),
      )
      expect(told).toHaveLength(1)
      const text = told[0] !== undefined && 'text' in told[0] ? told[0].text : ''
      expect(text).toContain(`by ${clockText(leaveBy, zone, clinic.clock, 'en')} at the latest`)
      expect(clock24(/by (.+) at the latest/.exec(text)?.[1] ?? ''), text).toBe(shown(leaveBy, zone))
      const isTwice = [-60, -30, 30, 60].some(
        other => other * 60_000 !== 0 && shown(leaveBy + other * 60_000, zone) === shown(leaveBy, zone),
      )
      expect(/\((before|after) clock change\)/.test(text)).toBe(isTwice)

      await night.advance(minutes(90))
      const { fired, standing } = alarmsOf(night.happened)
      expect(fired.map(({ name }) => name)).toEqual(expect.arrayContaining(['rung', 'silent-ask', 'leave-by']))
      for (const { name, lengthMs, tookMs } of fired) {
        expect(tookMs, name).toBeGreaterThanOrEqual(lengthMs)
        expect(tookMs, name).toBeLessThanOrEqual(lengthMs + 1_100)
      }
      const keys = fired.map(({ name, due }) => `${name} ${due}`)
      expect(new Set(keys).size).toBe(keys.length)
      for (const { due } of standing.values()) expect(due).toBeGreaterThan(night.runtime.now())
      expect(night.faults).toEqual([])
    },
  )

  it('ten minutes ago, said ten minutes after the change, is the minute of the change', async () => {
    const clinic = reachable({ ...demoClinic(), zone })
    const night = await aNight(aLine({}, { clinic }), instant(changeAt + minutes(10)))
    await night.answers(plain(night))
    const { answers, kernel } = await night.talk()
    expect(answers['out-since']?.answer).toMatchObject({ earliest: changeAt })
    expect(kernel.closure).toBe('time-left')
  })
})

/** "1:30 am (after clock change)" as "01:30". */
function clock24(text: string): string {
  const [, hour = '', minute = '', half = ''] = /^(\d{1,2}):(\d\d)(?: (am|pm|midnight|noon))?/.exec(text) ?? []
  if (half === '') return `${hour.padStart(2, '0')}:${minute}`
  const isLate = half === 'pm' || half === 'noon'
  return `${String((Number(hour) % 12) + (isLate ? 12 : 0)).padStart(2, '0')}:${minute}`
}
