import { type Instant, instant } from '../time/instant.ts'

/** The present, and being woken. The only way the running bot learns what time it is. */
export interface Clock {
  /** Wall time. It labels events; it may jump either way. */
  now(): Instant
  /** Milliseconds since some fixed moment; never goes back. It paces work. */
  monotonicMs(): number
  /** Calls `fn` once, when `monotonicMs()` has reached `atMs` or soon after. Returns a function that prevents it. */
  wake(atMs: number, fn: () => void): () => void
}

/** Randomness for what must not be guessed or must not happen all at once. */
export interface Random {
  bytes(length: number): Uint8Array
  /** `bytes` random bytes, as hexadecimal digits (two a byte). */
  hex(bytes: number): string
  /** A whole number from 0 (inclusive) to `below` (exclusive). */
  int(below: number): number
}

/** A wall clock that moved by more than this against the monotonic one is reported; milliseconds. */
export const CLOCK_STEP_REPORTED_MS = 120_000

/** How fast time passes while it waits for a wall clock that was set back: slower than real, never standing still. */
const CATCH_UP_RATE = 0.9

/**
 * The same clock, whose wall time never goes back.
 *
 * A wall clock that jumps ahead is followed at once: for a child a longer time out is the safer reading. One that is set
 * back is not followed: time goes on at nine tenths of the real pace until the wall has caught up, so that an alarm ten
 * minutes away comes in at most eleven and a half, instead of in an hour and ten minutes.
 *
 * @param stepped told of every jump above {@link CLOCK_STEP_REPORTED_MS}: milliseconds, negative when set back
 */
export function steadyClock(clock: Clock, stepped: (byMs: number) => void): Clock {
  let told = clock.now() as number
  let wall = told
  let monotonic = clock.monotonicMs()
  return {
    monotonicMs: () => clock.monotonicMs(),
    wake: (atMs, fn) => clock.wake(atMs, fn),
    now: () => {
      const wallNow = clock.now()
      const monotonicNow = clock.monotonicMs()
      const passed = monotonicNow - monotonic
      const step = wallNow - (wall + passed)
      wall = wallNow
      monotonic = monotonicNow
      told = Math.max(wallNow, told + passed * CATCH_UP_RATE)
      if (Math.abs(step) > CLOCK_STEP_REPORTED_MS) stepped(Math.trunc(step))
      return instant(told)
    },
  }
}

/** Resolves with what `work` gives, or with `late` when it has not ended after `ms`. Never cancels the work. */
export function within<T, L>(clock: Clock, ms: number, work: Promise<T>, late: L): Promise<T | L> {
  return new Promise((resolve, reject) => {
    const cancel = clock.wake(clock.monotonicMs() + ms, () => resolve(late))
    work.then(resolve, reject).finally(cancel)
  })
}
