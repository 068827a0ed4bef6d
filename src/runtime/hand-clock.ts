import { setImmediate } from 'node:timers/promises'
import { type Instant, instant } from '../time/instant.ts'
import type { Clock } from './clock.ts'

/** A clock that stands still until it is moved: for tests, vignettes and simulated nights. */
export interface HandClock extends Clock {
  /**
   * Moves on by `ms`, stopping at every wake-up on the way. `settled` is awaited before the first and after each one, so
   * that what it started has come to rest; `Runtime.idle` is made for it. Default: some turns of the event loop.
   */
  advance(ms: number, settled?: () => Promise<void>): Promise<void>
  /** Sets the wall clock by `ms` (negative: back) while no time passes. */
  setWallBy(ms: number): void
  /** From now on the wall clock runs `rate` times as fast as time passes: 1.01 is one per cent fast, 0 stands still. */
  setWallRate(rate: number): void
  /** Wake-ups still to come. */
  readonly waiting: number
}

/** Starts at `startAt`, with 0 on the monotonic clock. */
export function handClock(startAt: Instant): HandClock {
  let wall = startAt as number
  let monotonic = 0
  let rate = 1
  let order = 0
  const wakes = new Map<number, { readonly atMs: number; readonly fn: () => void }>()

  function nextUntil(limit: number): number | undefined {
    let best: { readonly id: number; readonly atMs: number } | undefined
    for (const [id, { atMs }] of wakes) {
      if (atMs <= limit && (best === undefined || atMs < best.atMs)) best = { id, atMs }
    }
    return best?.id
  }

  function moveTo(ms: number): void {
    wall += Math.max(0, ms - monotonic) * rate
    monotonic = Math.max(monotonic, ms)
  }

  return {
    now: () => instant(wall),
    monotonicMs: () => monotonic,
    wake(atMs, fn) {
      order += 1
      const id = order
      wakes.set(id, { atMs, fn })
      return () => wakes.delete(id)
    },
    async advance(ms, settled = someTurns) {
      const limit = monotonic + ms
      await settled()
      for (let id = nextUntil(limit); id !== undefined; id = nextUntil(limit)) {
        const wake = wakes.get(id)
        wakes.delete(id)
        moveTo(wake?.atMs ?? monotonic)
        wake?.fn()
        await settled()
      }
      moveTo(limit)
      await settled()
    },
    setWallBy(ms) {
      wall += ms
    },
    setWallRate(given) {
      rate = given
    },
    get waiting() {
      return wakes.size
    },
  }
}

async function someTurns(): Promise<void> {
  for (let turn = 0; turn < 25; turn += 1) await setImmediate()
}
