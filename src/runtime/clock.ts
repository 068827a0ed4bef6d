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

/** A wall clock that jumped ahead of the monotonic one by more than this (exclusive) is doubted; milliseconds. */
export const AHEAD_DOUBTED_MS = 120_000

/** One set back by more than this (exclusive) is doubted; milliseconds. Less is how two clocks are read. */
export const BACK_DOUBTED_MS = 100

/** How long the process doubts a clock after it jumped, in monotonic milliseconds: a night. */
export const DOUBT_LASTS_MS = 12 * 3_600_000

/** How fast time passes while it waits for a wall clock that was set back: a shade slower than real, never standing still. */
const CATCH_UP_RATE = 0.99

/** Readings of two clocks further apart than this are taken again: something came in between. */
const READ_TOGETHER_MS = 5

/** A clock whose wall time never goes back, and which knows how far it may be wrong. */
export interface SteadyClock extends Clock {
  /**
   * By how much the readings of this night contradict each other, in whole milliseconds: 0 on a clock that can be trusted.
   * `now()` is the latest of them, so that a length of time is never read too short; a clock on a family's wall may show up
   * to this much less.
   */
  doubtMs(): number
  /** From now on shows `at` or later: what was already written down with a later time is past. */
  notBefore(at: Instant): void
}

/** What the wall clock showed against the monotonic one, at its least and most, around one jump. */
interface Doubt {
  readonly low: number
  readonly high: number
  readonly untilMs: number
}

/**
 * The same clock, whose wall time never goes back. One that is steady already is given back as it is, with one more told.
 *
 * A wall clock that jumps ahead is followed at once: for a child a longer time out is the safer reading. One that is set
 * back, or stands still, is not followed: time goes on at 99 hundredths of the monotonic pace until the wall has caught up,
 * so that an alarm ten minutes away comes six seconds late at most, instead of in an hour and ten minutes.
 *
 * @param stepped told of what makes the clock doubtful: milliseconds, negative when set back; small steps told together
 */
export function steadyClock(clock: Clock, stepped: (byMs: number) => void = () => undefined): SteadyClock {
  const known = steady.get(clock)
  if (known !== undefined) {
    known.listeners.push(stepped)
    return known.clock
  }
  const listeners = [stepped]
  let { wall, monotonic } = readTogether(clock)
  let told = wall
  let doubts: Doubt[] = []
  let spreadTold = 0

  /** Written down before anybody is told: who is told may ask what time it is. */
  function doubt(one: number, other: number, byMs: number): void {
    const next = { low: Math.min(one, other), high: Math.max(one, other), untilMs: monotonic + DOUBT_LASTS_MS }
    // A clock that stands still is set back a little at every look: said when it has doubled, not every second.
    const isNews = Math.abs(byMs) > AHEAD_DOUBTED_MS || spreadOf([...doubts, next]) >= 2 * spreadTold
    if (isNews) doubts.push(next)
    else doubts.push(joined(doubts.pop(), next))
    if (!isNews) return
    spreadTold = spreadOf(doubts)
    const isLarge = Math.abs(byMs) > AHEAD_DOUBTED_MS
    for (const listener of listeners) listener(Math.trunc(isLarge ? byMs : Math.sign(byMs) * spreadTold))
  }

  function trusted(): void {
    doubts = doubts.filter(each => each.untilMs > monotonic)
    if (doubts.length === 0) spreadTold = 0
  }

  function follow(): void {
    const read = readTogether(clock)
    trusted()
    const before = { offset: wall - monotonic, isBehind: told - wall > AHEAD_DOUBTED_MS }
    const passed = Math.max(0, read.monotonic - monotonic)
    const step = read.wall - (wall + passed)
    wall = read.wall
    monotonic = read.monotonic
    told = Math.max(wall, told + passed * CATCH_UP_RATE)
    // What passed between the two readings is no jump, and a clock that runs a little slow is no clock set back.
    const isBack = step + read.apart + passed * (1 - CATCH_UP_RATE) < -BACK_DOUBTED_MS
    const behind = told - wall
    if (isBack || step > AHEAD_DOUBTED_MS) doubt(before.offset, wall - monotonic, step)
    // A clock that runs slow or stands still makes no jump, and is as wrong.
    else if (behind > AHEAD_DOUBTED_MS && !before.isBehind) doubt(wall - monotonic, told - monotonic, -behind)
  }

  const made: SteadyClock = {
    monotonicMs: () => clock.monotonicMs(),
    wake: (atMs, fn) => clock.wake(atMs, fn),
    now() {
      follow()
      return instant(told)
    },
    doubtMs() {
      follow()
      trusted()
      const behind = told - wall
      return Math.ceil(Math.max(spreadOf(doubts), behind > BACK_DOUBTED_MS ? behind : 0))
    },
    notBefore(at) {
      follow()
      if (at <= told) return
      told = at
      doubt(wall - monotonic, at - monotonic, wall - at)
    },
  }
  steady.set(made, { clock: made, listeners })
  return made
}

/** From the least to the most that the wall clock showed against the monotonic one; 0 where nothing is in doubt. */
function spreadOf(doubts: readonly Doubt[]): number {
  if (doubts.length === 0) return 0
  return Math.max(...doubts.map(each => each.high)) - Math.min(...doubts.map(each => each.low))
}

const joined = (one: Doubt | undefined, other: Doubt): Doubt =>
  one === undefined
    ? other
    : { low: Math.min(one.low, other.low), high: Math.max(one.high, other.high), untilMs: other.untilMs }

/** Steady clocks, and who is told of their jumps. */
const steady = new WeakMap<Clock, { readonly clock: SteadyClock; readonly listeners: ((byMs: number) => void)[] }>()

/** {@link SteadyClock.notBefore} of a clock that is steady; nothing on another. */
export const holdAt = (clock: Clock, at: Instant): void => steady.get(clock)?.clock.notBefore(at)

/** By how much a clock may be wrong, in milliseconds; 0 for one that does not say. */
export const doubtOf = (clock: Clock): number => steady.get(clock)?.clock.doubtMs() ?? 0

/** Both clocks as of one moment; `apart`: monotonic milliseconds that may lie between the readings. */
function readTogether(clock: Clock): { readonly wall: number; readonly monotonic: number; readonly apart: number } {
  for (let tries = 1; ; tries += 1) {
    const before = clock.monotonicMs()
    const wall = clock.now()
    const monotonic = clock.monotonicMs()
    const apart = monotonic - before
    if (apart <= READ_TOGETHER_MS || tries >= 3) return { wall, monotonic, apart }
  }
}

/** Resolves with what `work` gives, or with `late` when it has not ended after `ms`. Never cancels the work. */
export function within<T, L>(clock: Clock, ms: number, work: Promise<T>, late: L): Promise<T | L> {
  return new Promise((resolve, reject) => {
    const cancel = clock.wake(clock.monotonicMs() + ms, () => resolve(late))
    work.then(resolve, reject).finally(cancel)
  })
}
