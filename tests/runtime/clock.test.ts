import fc from 'fast-check'
import { describe, expect, it, vi } from 'vitest'
import { type Clock, doubtOf, holdAt, steadyClock, within } from '../../src/runtime/clock.ts'
import { FAMILY_LANE, nextTry, PAGE_LANE } from '../../src/runtime/lane.ts'
import { errorFields, lineLog } from '../../src/runtime/log.ts'
import { serialQueue } from '../../src/runtime/serial-queue.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import { after, hours, instant, milliseconds } from '../../src/time/instant.ts'
import { handClock } from '../support/hand-clock.ts'
import { NIGHT, seededRandom } from '../support/world.ts'

describe('the steady clock', () => {
  it('never goes back and never stands still, whatever the wall clock does', async () => {
    const move = fc.oneof(
      fc.record({ passMs: fc.integer({ min: 1, max: 7_200_000 }) }),
      fc.record({ stepMs: fc.integer({ min: -90_000_000, max: 90_000_000 }) }),
    )
    await fc.assert(
      fc.asyncProperty(fc.array(move, { maxLength: 30 }), async moves => {
        const hand = handClock(NIGHT)
        const steady = steadyClock(hand, () => undefined)
        let before = steady.now() as number
        for (const each of moves) {
          if ('stepMs' in each) hand.setWallBy(each.stepMs)
          else await hand.advance(each.passMs, async () => undefined)
          const now = steady.now()
          const least = 'passMs' in each ? Math.trunc(each.passMs * 0.99) : 0
          expect(now).toBeGreaterThanOrEqual(before + Math.max(0, least - 1))
          expect(now).toBeGreaterThanOrEqual(hand.now())
          before = now
        }
      }),
    )
  })

  it('is the wall clock again once that has caught up', async () => {
    const hand = handClock(NIGHT)
    const steady = steadyClock(hand, () => undefined)
    hand.setWallBy(-60_000)
    expect(steady.now()).toBe(NIGHT)
    await hand.advance(hours(2), async () => undefined)
    expect(steady.now()).toBe(hand.now())
  })

  it.each([
    [-100, []],
    [-101, [-101]],
    [-1_000, [-1_000]],
    [120_000, []],
    [120_001, [120_001]],
    [-hours(1), [-hours(1)]],
  ])('reports a jump of %i ms as %j', (by, reported) => {
    const hand = handClock(NIGHT)
    const seen: number[] = []
    const steady = steadyClock(hand, ms => seen.push(ms))
    hand.setWallBy(by)
    steady.now()
    steady.now()
    expect(seen).toEqual(reported)
  })
})

describe('a clock in doubt', () => {
  const still = async () => undefined
  const plus = (ms: number) => instant(NIGHT + ms)
  const watched = () => {
    const hand = handClock(NIGHT)
    const seen: number[] = []
    return { hand, seen, steady: steadyClock(hand, ms => seen.push(ms)) }
  }

  it('follows the machine that slept: time passed though nothing ran', () => {
    const { hand, seen, steady } = watched()
    hand.setWallBy(hours(8))
    expect(steady.now()).toBe(plus(hours(8)))
    expect(steady.doubtMs()).toBe(hours(8))
    expect(seen).toEqual([hours(8)])
  })

  it('goes on where the wall clock stands still, and says so each time it is twice as far behind', async () => {
    const { hand, seen, steady } = watched()
    hand.setWallRate(0)
    for (let second = 0; second < 3_600; second += 1) {
      await hand.advance(1_000, still)
      steady.now()
    }
    expect(steady.now() - NIGHT).toBeGreaterThanOrEqual(hours(1) * 0.99 - 60)
    // 1, 2, 4 … 2048 seconds, and once that it is two minutes behind.
    expect(seen.length).toBeGreaterThanOrEqual(12)
    expect(seen.length).toBeLessThanOrEqual(14)
    expect(steady.doubtMs()).toBeGreaterThanOrEqual(hours(1) * 0.99 - 60)
  })

  it.each([
    ['1 % fast', 1.01],
    ['1 % slow', 0.99],
    ['500 millionths fast', 1.0005],
    ['500 millionths slow', 0.9995],
  ])(
    'reads no length shorter than 99 hundredths of it on a wall clock %s, for a day, and doubts nothing',
    async (_name, rate) => {
      const { hand, seen, steady } = watched()
      hand.setWallRate(rate)
      for (let minute = 1; minute <= 24 * 60; minute += 1) {
        await hand.advance(60_000, still)
        const passed = steady.now() - NIGHT
        expect(passed).toBeGreaterThanOrEqual(minute * 60_000 * 0.99 - minute)
        expect(passed).toBeLessThanOrEqual(minute * 60_000 * 1.01 + minute)
      }
      expect(seen).toEqual([])
      expect(steady.doubtMs()).toBe(0)
    },
  )

  it('counts a jump there and back as one doubt, for twelve hours and as long as it is ahead of the wall', async () => {
    const { hand, seen, steady } = watched()
    hand.setWallBy(hours(1))
    steady.now()
    hand.setWallBy(-hours(1))
    expect(steady.doubtMs()).toBe(hours(1))
    expect(seen).toEqual([hours(1), -hours(1)])
    await hand.advance(hours(13), still)
    const behind = steady.now() - hand.now()
    expect(behind).toBeGreaterThan(hours(1) * 0.85)
    expect(steady.doubtMs()).toBe(behind)
    await hand.advance(hours(100), still)
    expect(steady.now()).toBe(hand.now())
    expect(steady.doubtMs()).toBe(0)
  })

  it('takes no pause between its two readings for a jump', () => {
    const hand = handClock(NIGHT)
    let late = 0
    // Between wall and monotonic reading the process stood still for `late` milliseconds.
    const paused: Clock = {
      now: () => hand.now(),
      monotonicMs: () => hand.monotonicMs() + late,
      wake: (atMs, fn) => hand.wake(atMs, fn),
    }
    const seen: number[] = []
    const steady = steadyClock(
      {
        ...paused,
        now: () => {
          const wall = hand.now()
          if (late > 0) late += 400
          return wall
        },
      },
      ms => seen.push(ms),
    )
    late = 1
    steady.now()
    expect(seen.filter(ms => ms < -1_300)).toEqual([])
  })

  it('may be asked by whoever is told of its jump, and is one clock however often it is made steady', () => {
    const hand = handClock(NIGHT)
    const told: number[] = []
    const steady = steadyClock(hand, () => told.push(steady.now()))
    const again = steadyClock(steady, ms => told.push(ms))
    expect(again).toBe(steady)
    hand.setWallBy(hours(2))
    expect(again.now()).toBe(plus(hours(2)))
    expect(told).toEqual([plus(hours(2)), hours(2)])
    expect(doubtOf(steady)).toBe(hours(2))
    expect(doubtOf(hand)).toBe(0)
  })

  it('goes on from what was written down later than it shows', () => {
    const { hand, seen, steady } = watched()
    holdAt(steady, plus(hours(1)))
    expect(steady.now()).toBe(plus(hours(1)))
    expect(steady.doubtMs()).toBe(hours(1))
    expect(seen).toEqual([-hours(1)])
    holdAt(steady, NIGHT)
    expect(steady.now()).toBe(plus(hours(1)))
    expect(hand.now()).toBe(NIGHT)
  })
})

describe('the system clock', () => {
  it('wakes after, not before, and can be told not to', async () => {
    const clock = systemClock()
    const atMs = clock.monotonicMs() + 30
    const cancel = clock.wake(atMs - 20, () => expect.unreachable('cancelled'))
    cancel()
    await new Promise<void>(resolve => clock.wake(atMs, resolve))
    expect(clock.monotonicMs()).toBeGreaterThanOrEqual(atMs - 1)
  })

  // Node.js documentation, setTimeout: a delay larger than 2147483647 is set to 1.
  it('does not fire at once for a wait longer than a timer can hold', async () => {
    const clock = systemClock()
    let fired = false
    const cancel = clock.wake(clock.monotonicMs() + 30 * 86_400_000, () => {
      fired = true
    })
    await new Promise<void>(resolve => clock.wake(clock.monotonicMs() + 40, resolve))
    cancel()
    expect(fired).toBe(false)
  })

  // The same limit: 2^31 - 1 ms are 24.8 days. Node's own timers, its clock moved by hand.
  it('wakes after a month, in the millisecond, by timers that hold no more than 24.8 days each', () => {
    vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] })
    try {
      const set = vi.spyOn(globalThis, 'setTimeout')
      const clock = systemClock()
      let wokenAtMs = 0
      const atMs = clock.monotonicMs() + 40 * 86_400_000
      clock.wake(atMs, () => {
        wokenAtMs = clock.monotonicMs()
      })
      vi.advanceTimersByTime(40 * 86_400_000 - 1)
      expect(wokenAtMs).toBe(0)
      vi.advanceTimersByTime(2)
      expect(wokenAtMs).toBe(atMs)
      expect(set.mock.calls.map(([, ms]) => ms)).toEqual([2 ** 31 - 1, 40 * 86_400_000 - (2 ** 31 - 1)])
    } finally {
      vi.useRealTimers()
      vi.restoreAllMocks()
    }
  })

  it('draws whole numbers below the bound and hexadecimal of the length asked', () => {
    const random = systemRandom()
    const drawn = Array.from({ length: 500 }, () => random.int(7))
    expect(new Set(drawn)).toEqual(new Set([0, 1, 2, 3, 4, 5, 6]))
    expect(random.hex(16)).toMatch(/^[0-9a-f]{32}$/)
    expect(random.bytes(5)).toHaveLength(5)
  })
})

describe('a wait with an end', () => {
  it('gives the work when it comes in time, the stand-in when not, and leaves no timer behind', async () => {
    const clock = handClock(NIGHT)
    expect(await within(clock, 100, Promise.resolve('done'), 'late')).toBe('done')
    const late = within(clock, 100, new Promise<string>(() => undefined), 'late')
    await clock.advance(100)
    expect(await late).toBe('late')
    await expect(within(clock, 100, Promise.reject(new Error('no')), 'late')).rejects.toThrow('no')
    expect(clock.waiting).toBe(0)
  })
})

describe('what follows a try', () => {
  const random = seededRandom(3)
  const at = (ms: number) => after(NIGHT, milliseconds(ms))

  it.each([
    ['page', PAGE_LANE, 1, 1_000, 2_000],
    ['page', PAGE_LANE, 3, 4_000, 8_000],
    ['family', FAMILY_LANE, 5, 16_000, 32_000],
    ['family', FAMILY_LANE, 9, 150_000, 300_000],
    ['family', FAMILY_LANE, 60, 150_000, 300_000],
  ])('%s lane: failed try %s waits between %i and %i ms', (_name, rules, tries, least, most) => {
    for (let n = 0; n < 200; n += 1) {
      const next = nextTry(rules, { kind: 'failed', reason: 'x' }, tries, NIGHT, NIGHT, random)
      if (next.kind !== 'again') throw new Error(`expected another try, got ${next.kind}`)
      expect(next.notBefore - NIGHT).toBeGreaterThanOrEqual(least)
      expect(next.notBefore - NIGHT).toBeLessThanOrEqual(most)
    }
  })

  it('a page is given up at its fourth try, or when the next would begin more than 60 s after the first', () => {
    const unknown = { kind: 'unknown', reason: 'x' } as const
    expect(nextTry(PAGE_LANE, unknown, 4, NIGHT, NIGHT, random).kind).toBe('given-up')
    expect(nextTry(PAGE_LANE, unknown, 3, NIGHT, at(50_000), random).kind).toBe('again')
    expect(nextTry(PAGE_LANE, unknown, 3, NIGHT, at(50_001), random).kind).toBe('given-up')
  })

  it('a reply is given up when the next try would begin more than 24 h after the first', () => {
    const failed = { kind: 'failed', reason: 'x', retryAfterMs: 1_000_000 } as const
    expect(nextTry(FAMILY_LANE, failed, 999, NIGHT, at(hours(24) - 1_000_000), random).kind).toBe('again')
    expect(nextTry(FAMILY_LANE, failed, 999, NIGHT, at(hours(24) - 999_999), random).kind).toBe('given-up')
  })
})

describe('work in order', () => {
  it('runs in order within a key and side by side across keys, and a failure stops nobody behind it', async () => {
    const queue = serialQueue()
    const log: string[] = []
    let release: () => void = () => undefined
    const slow = queue.run('a', async () => {
      await new Promise<void>(resolve => {
        release = resolve
      })
      log.push('a1')
      throw new Error('a1 failed')
    })
    const second = queue.run('a', async () => log.push('a2'))
    await queue.run('b', async () => log.push('b1'))
    expect(queue.size).toBe(2)
    release()
    await expect(slow).rejects.toThrow('a1 failed')
    await second
    await queue.drained()
    expect(log).toEqual(['b1', 'a1', 'a2'])
    expect(queue.size).toBe(0)
  })
})

describe('the log', () => {
  it('writes one JSON line of the fields it knows, and nothing that is not an id or a code', () => {
    const lines: string[] = []
    const log = lineLog(
      () => NIGHT,
      line => lines.push(line),
    )
    const canary = 'Baby Testname, born 2024-02-29, +1 212 555 0142'
    log({
      what: 'case-parked',
      caseId: 'ab12',
      why: canary,
      ms: 12,
      ...({ text: canary, name: canary, tries: canary } as object),
    })
    log({ what: `x\n{"what":"forged"}` })
    expect(lines).toEqual([
      '{"at":"2026-03-01T07:00:00.000Z","what":"case-parked","caseId":"ab12","why":"withheld","ms":12,"tries":"withheld"}\n',
      '{"at":"2026-03-01T07:00:00.000Z","what":"withheld"}\n',
    ])
  })

  it('says of an error its class and place, never its message', () => {
    const error = new TypeError('Baby Testname is not iterable\n    at /secret/Baby.ts:1:1')
    const fields = errorFields(error)
    expect(fields.error).toBe('TypeError')
    expect(JSON.stringify(fields)).not.toContain('Baby')
    expect(fields.place).toMatch(/^clock\.test\.ts:\d+$/)
    expect(errorFields('text')).toEqual({ error: 'string' })
    expect(errorFields(undefined)).toEqual({})
  })
})

it('the hand clock stops at every wake-up on the way, in order', async () => {
  const clock = handClock(instant(0))
  const seen: number[] = []
  clock.wake(30, () => seen.push(clock.now()))
  clock.wake(10, () => {
    seen.push(clock.now())
    clock.wake(20, () => seen.push(clock.now()))
  })
  await clock.advance(100)
  expect(seen).toEqual([10, 20, 30])
  expect(clock.now()).toBe(100)
})
