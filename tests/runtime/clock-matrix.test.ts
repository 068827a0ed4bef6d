import { describe, expect, it } from 'vitest'
import type { CaseState } from '../../src/case/state.ts'
import type { HandClock } from '../../src/runtime/hand-clock.ts'
import { hours, instant, minutes } from '../../src/time/instant.ts'
import { localParts } from '../../src/time/local-instants.ts'
import { aLine, demoClinic } from '../support/a-line.ts'
import { AMARA } from '../support/case-talk.ts'
import { alarmsOf, aNight, type Night, plain, reachable, upTo } from '../support/line-night.ts'

/**
 * What a clock can do to a night, at every moment of a night: the whole bot, its store and its loops, by a clock moved by
 * hand, with the shipped flow and the demonstration's clinic. Shipped times: rungs at 3, 5 and 10 minutes, left-check 10,
 * promise-grace 5, closure-soonest 60 minutes.
 */

/** How the clock goes wrong; `slackMs`: how much earlier than its length an alarm may then come. */
interface Fault {
  readonly name: string
  readonly does: (clock: HandClock) => void
  /** The wall clock went ahead, or time passed in a sleep: alarms come that much earlier by the monotonic clock. */
  readonly aheadMs?: number
  /** It must be said in the log. */
  readonly isTold: boolean
  /** By the worse of the two readings the half hour that was left is over: nobody may be told that there is time. */
  readonly isTimeUp?: true
}

const FAULTS: readonly Fault[] = [
  { name: 'no fault', does: () => undefined, isTold: false },
  { name: 'wall back 1 h', does: clock => clock.setWallBy(-hours(1)), isTold: true, isTimeUp: true },
  { name: 'wall back 1 s', does: clock => clock.setWallBy(-1_000), isTold: true },
  { name: 'wall ahead 1 h', does: clock => clock.setWallBy(hours(1)), aheadMs: hours(1), isTold: true, isTimeUp: true },
  {
    name: 'wall ahead 25 h',
    does: clock => clock.setWallBy(hours(25)),
    aheadMs: hours(25),
    isTold: true,
    isTimeUp: true,
  },
  {
    name: 'asleep 40 min',
    does: clock => clock.setWallBy(minutes(40)),
    aheadMs: minutes(40),
    isTold: true,
    isTimeUp: true,
  },
  { name: 'wall stands still', does: clock => clock.setWallRate(0), isTold: true },
  { name: 'wall 1 % fast', does: clock => clock.setWallRate(1.01), isTold: false },
  { name: 'wall 1 % slow', does: clock => clock.setWallRate(0.99), isTold: false },
  { name: 'wall 500 millionths fast', does: clock => clock.setWallRate(1.0005), isTold: false },
  { name: 'wall 500 millionths slow', does: clock => clock.setWallRate(0.9995), isTold: false },
]

const line = aLine({}, { clinic: reachable(demoClinic()) })
const { clinic } = line

/** Minutes into the ladder, with nobody answering. */
const paging = (into: number) => async (night: Night) => {
  await upTo(night, 'ring-back')
  await night.advance(minutes(into))
  const stages = { 1: 'first', 4: 'again', 7: 'next', 11: 'everyone' } as Readonly<Record<number, string>>
  expect((await night.talk()).kernel.callout).toBe(stages[into])
}

/** Interesting moments of a case: how it is brought there, and what is answered afterwards. */
const MOMENTS: readonly [string, (night: Night) => Promise<void>][] = [
  ['before out-since is answered', night => upTo(night, 'out-since')],
  ['while the time to leave by is waited for', night => upTo(night, 'ring-back')],
  ['with the first page out', paging(1)],
  ['with the second page out', paging(4)],
  ['with the second person paged', paging(7)],
  ['with everyone paged', paging(11)],
  [
    'while a promised call is waited for',
    async night => {
      await upTo(night, 'have-you-left')
      const by = instant(night.runtime.now() + minutes(15))
      await night.act({ kind: 'pageAcknowledged', by: AMARA, doing: { kind: 'ringing-by', by } })
    },
  ],
  [
    'before they are asked again whether they have left',
    async night => {
      await night.answers({ ...plain(night), 'have-you-left': 'no', 'can-travel': 'yes' })
    },
  ],
  [
    'on the road',
    async night => {
      await night.answers({ ...plain(night), 'have-you-left': 'yes' })
    },
  ],
  [
    'after it was closed',
    async night => {
      await upTo(night, 'have-you-left')
      await night.act({ kind: 'outcomeSet', by: AMARA, outcome: 'replaced', doNotWrite: false })
    },
  ],
]

const LOOK_MS = 1_100

/** Every time to come that a family is told, and when it was told. */
function timesNamed(night: Night): { readonly named: number; readonly at: number }[] {
  const times: { named: number; at: number }[] = []
  night.deliver = async ({ parts }) => {
    const at = night.runtime.now()
    for (const part of parts) {
      if (part.kind === 'withdrawn' || !('text' in part)) continue
      for (const [, hour, minute, half] of part.text.matchAll(/\bby (\d{1,2}):(\d\d) (am|pm)/g)) {
        const ofDay = ((Number(hour) % 12) + (half === 'pm' ? 12 : 0)) * 60 + Number(minute)
        const { hour: nowHour, minute: nowMinute } = localParts(at, clinic.zone)
        const ahead = ((ofDay - nowHour * 60 - nowMinute + 36 * 60) % (24 * 60)) - 12 * 60
        times.push({ named: at - (at % 60_000) + ahead * 60_000 + 59_999, at })
      }
    }
    return { kind: 'delivered' }
  }
  return times
}

/** What the closure clock counts from. */
const answered = ({ answers }: CaseState) => JSON.stringify([answers['out-since'], answers.travel])

const BANDS = ['not-asked', 'unknown', 'time-left', 'leave-now', 'past-latest', 'overdue']

/** Every fault at every third moment, and every moment with every third fault; all of them in the long run. */
const isLong = process.env.LONG === '1'
const momentsOf = (fault: number) => MOMENTS.filter((_, moment) => isLong || (fault + moment) % 3 === 0)

describe.each(FAULTS.map((fault, index) => [fault.name, fault, momentsOf(index)] as const))(
  '%s',
  (_name, fault, moments) => {
    it.each(moments)('%s', async (_moment, bringThere) => {
      const night = await aNight(line)
      const times = timesNamed(night)
      await bringThere(night)
      const wrongFromMs = night.clock.monotonicMs()
      fault.does(night.clock)
      await night.advance(LOOK_MS)
      if ((await night.talk()).open?.fact === 'out-since') {
        const before = night.delivered.length
        await night.answers(plain(night))
        const said = night.delivered
          .slice(before)
          .flatMap(({ parts }) => parts.flatMap(part => ('id' in part ? [part.id] : [])))
        expect(said).toContain(fault.isTimeUp === true ? 'time-to-go' : 'leave-by-time')
        expect(said).not.toContain(fault.isTimeUp === true ? 'leave-by-time' : 'time-to-go')
      }
      await night.advance(minutes(45))

      const { happened } = night
      const { fired, standing } = alarmsOf(happened)

      // None fires twice.
      const keys = happened.flatMap(({ event }) => (event.kind === 'alarmDue' ? [`${event.name} ${event.due}`] : []))
      expect(new Set(keys).size).toBe(keys.length)

      // None is lost: whatever still stands is to come, by its own length of time and by the clock that labels events.
      const now = night.runtime.now()
      for (const [name, { due, lengthMs, setMs }] of standing) {
        expect(due, name).toBeGreaterThan(now - LOOK_MS)
        expect(night.clock.monotonicMs() - setMs, name).toBeLessThanOrEqual(lengthMs / 0.99 + LOOK_MS)
      }

      // "Time to go" is said once, whichever of silence, clock and doubt says it.
      const toGo = night.delivered.flatMap(({ parts }) =>
        parts.filter(part => part.kind === 'advice' && part.id === 'time-to-go'),
      )
      expect(toGo.length).toBeLessThanOrEqual(1)

      // Each comes after its own length of time: a hundredth and a look late at most, early only where time had passed.
      for (const { name, lengthMs, tookMs, setMs } of fired) {
        const early = setMs <= wrongFromMs ? (fault.aheadMs ?? 0) : 0
        expect(tookMs, `${name} late`).toBeLessThanOrEqual(lengthMs / 0.99 + LOOK_MS)
        expect(tookMs, `${name} early`).toBeGreaterThanOrEqual(lengthMs * 0.989 - early)
      }

      // Time seen, and the time a tube has been out for one and the same answer, never goes back.
      const states = happened.map(({ state }) => state)
      for (const [index, state] of states.entries()) {
        const before = states[index - 1]
        if (before === undefined) continue
        expect(state.latestSeenAt).toBeGreaterThanOrEqual(before.latestSeenAt)
        expect(happened[index]?.at).toBeGreaterThanOrEqual(happened[index - 1]?.at ?? 0)
        if (answered(state) === answered(before))
          expect(BANDS.indexOf(state.kernel.closure)).toBeGreaterThanOrEqual(BANDS.indexOf(before.kernel.closure))
      }

      // No text names a time to come that is past when it leaves.
      for (const { named, at } of times) expect(named, new Date(at).toISOString()).toBeGreaterThan(at)

      // A clock in doubt is said in the log, and a sound one is not.
      expect(night.faults.some(({ code }) => code === 'clock-stepped')).toBe(fault.isTold)
      expect(night.faults.filter(({ code }) => code !== 'clock-stepped')).toEqual([])
    })
  },
)
