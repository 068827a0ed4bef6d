import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { renderReply } from '../../src/case/render.ts'
import { timesAhead } from '../../src/case/times-ahead.ts'
import { clockOf } from '../../src/case/values.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import {
  aTalk,
  type CaseTalk,
  isReply,
  MIN,
  minutesAgo,
  PLAIN,
  type Said,
  takes,
  weeksAgo,
} from '../support/case-talk.ts'
import { anEvent, happens } from './events-drawn.ts'

const line = aLine()
const HOUR = 60 * MIN

/** Clock times in what the family reads now that lie ahead: within twelve hours, by the clock on their wall. */
function aheadInText({ state, effects, now }: CaseTalk): string[] {
  const texts = effects
    .filter(isReply)
    .flatMap(reply => renderReply(line, state, reply, now, { repeated: false }).map(part => part.text))
  const times = texts.flatMap(text => text.match(/\b\d{1,2}:\d\d [ap]m\b/g) ?? [])
  const nowMinute = minuteOf(clockOf(line, now))
  return [...new Set(times)].filter(time => {
    const ahead = (minuteOf(time) - nowMinute + 1_440) % 1_440
    return ahead > 0 && ahead <= 720
  })
}

/** Minute of the day of "2:13 am". */
function minuteOf(time: string): number {
  const [, hour = '', minute = '', half = ''] = /^(\d+):(\d+) ([ap]m)$/.exec(time) ?? []
  return (Number(hour) % 12) * 60 + Number(minute) + (half === 'pm' ? 720 : 0)
}

const named = ({ state, now }: CaseTalk): string[] => timesAhead(line, state, now).map(at => clockOf(line, at))

describe('times ahead', () => {
  it('are those of "leave by", and of a promised call with the moment it counts as broken', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing', device: 'balloon-long' }).answersAll(PLAIN)
    const leaveBy = named(talk)
    expect(leaveBy.length).toBeGreaterThan(0)
    talk.takes({ kind: 'ringing-by', by: instant(NIGHT + 15 * MIN) })
    // Shipped promise-grace: five minutes.
    const expected = [15, 20].map(minutes => clockOf(line, instant(NIGHT + minutes * MIN)))
    expect(named(talk)).toEqual(expect.arrayContaining(expected))
    expect(aheadInText(talk)).toEqual(expect.arrayContaining(expected))
  })

  it('lie after the instant asked for', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing', device: 'balloon-long' }).answersAll(PLAIN).takes()
    for (let hours = 0; hours < 30; hours += 1) {
      const at = instant(NIGHT + hours * HOUR)
      expect(timesAhead(line, talk.state, at).every((one: Instant) => one > at)).toBe(true)
    }
  })

  it('hold every time ahead that a reply names, whatever happens in a night', () => {
    let found = 0
    const nightOf = fc.record({
      out: fc.integer({ min: 0, max: 90 }),
      travel: fc.integer({ min: 5, max: 60 }),
      weeks: fc.integer({ min: 1, max: 60 }),
      promise: fc.integer({ min: 2, max: 60 }),
      events: fc.array(anEvent, { maxLength: 12 }),
    })
    fc.assert(
      fc.property(nightOf, ({ out, travel, weeks, promise, events }) => {
        const talk = aTalk(line)
        const look = () => {
          const times = aheadInText(talk)
          found += times.length
          expect(named(talk)).toEqual(expect.arrayContaining(times))
        }
        const answers: Readonly<Record<string, Said>> = {
          ...PLAIN,
          'out-since': minutesAgo(out, out + 5),
          travel: takes(travel),
          'first-placed': weeksAgo(weeks),
        }
        talk.says({ 'in-opening': 'nothing', device: 'balloon-long' })
        for (let turn = 0; turn < 20; turn += 1) {
          const fact = talk.asked()
          const said = fact === undefined ? undefined : answers[fact]
          if (fact === undefined || said === undefined) break
          talk.answers(fact, said)
          look()
        }
        if (talk.pages().length > 0) talk.takes({ kind: 'ringing-by', by: instant(talk.now + promise * MIN) })
        look()
        for (const event of events) {
          happens(talk, event, {})
          look()
        }
      }),
      { numRuns: 60 },
    )
    expect(found).toBeGreaterThan(60)
  })
})
