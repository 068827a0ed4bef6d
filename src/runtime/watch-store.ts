import { type Instant, minutes, seconds } from '../time/instant.ts'
import type { Clock } from './clock.ts'
import type { OnFault } from './fault.ts'
import type { StoreHeard } from './timed-store.ts'
import type { LineNews } from './watch-pages.ts'

/** A store asked by nobody but the loops may fail for so long before people are told: they ask every second. */
const FAILS_ALONE_MS = seconds(15)
/** How often a store that failed is asked whether it keeps and gives again. */
const PROBE_EVERY_MS = seconds(5)
/** It works again when nothing has failed for so long. */
const WELL_AFTER_MS = minutes(1)
/** People are told again at most this often. */
const AGAIN_EVERY_MS = minutes(5)
/** After so many times they are told again only as often as {@link SELDOM_EVERY_MS}, unless another family is turned away. */
const OFTEN_TIMES = 12
const SELDOM_EVERY_MS = minutes(30)

/** Calls that the loops make again within a second or so: only their own success says that they work. */
const isAskedBySecond = (call: string): boolean => /^(claim|due|nextDue)/.test(call)

export interface WatchStoreDependencies {
  readonly clock: Clock
  /** Writes and reads something of its own; rejects where the store does not. */
  readonly probe: () => Promise<void>
  readonly tell: (news: LineNews) => void
  readonly onFault: OnFault
}

export interface WatchStore {
  /** What the loops' and the families' calls of the store came to. */
  readonly heard: StoreHeard
  /** Somebody was told that the line does not keep what they said: people must know at once. */
  turnedAway(): void
  /** Since when calls of the store have failed; undefined while it is trusted. */
  readonly failingSince: Instant | undefined
  /** Whether people were told that the line is down, and not yet that it works again. */
  readonly isDown: boolean
  stop(): void
}

/**
 * Watches the store. When it fails, people are told past it, at once where a family was turned away, and within fifteen
 * seconds where only pages and alarms stand still. It counts as well again when it has kept, given and not failed for a
 * whole minute: what comes back for a moment only is no reason to rest.
 */
export function watchStore(deps: WatchStoreDependencies): WatchStore {
  const { clock, onFault } = deps
  /** Calls that failed and have not succeeded since. */
  const failing = new Set<string>()
  let since: { readonly at: Instant; readonly ms: number } | undefined
  let failedMs = Number.NEGATIVE_INFINITY
  let toldMs = Number.NEGATIVE_INFINITY
  let toldTimes = 0
  let wake: (() => void) | undefined
  let stopped = false

  function failed(call: string): void {
    failing.add(call)
    failedMs = clock.monotonicMs()
    since ??= { at: clock.now(), ms: failedMs }
    arm()
  }

  function answered(call: string): void {
    failing.delete(call)
  }

  function turnedAway(): void {
    failedMs = clock.monotonicMs()
    since ??= { at: clock.now(), ms: failedMs }
    tellAtMost(AGAIN_EVERY_MS)
    arm()
  }

  function tellAtMost(every: number): void {
    const now = clock.monotonicMs()
    if (stopped || now - toldMs < every) return
    const isFirst = toldTimes === 0
    toldMs = now
    toldTimes += 1
    if (isFirst) onFault({ code: 'line-down' })
    deps.tell(isFirst ? 'down' : 'still-down')
  }

  function arm(): void {
    if (stopped || wake !== undefined) return
    wake = clock.wake(clock.monotonicMs() + PROBE_EVERY_MS, () => {
      wake = undefined
      void look()
    })
  }

  async function look(): Promise<void> {
    const probedMs = clock.monotonicMs()
    const works = await deps.probe().then(
      () => true,
      () => false,
    )
    if (stopped) return
    // A probe has written and read: what failed before it began counts as mended. What the loops ask every second does not.
    if (works && failedMs <= probedMs) for (const call of failing) if (!isAskedBySecond(call)) failing.delete(call)
    judge()
    if (since !== undefined) arm()
  }

  function judge(): void {
    if (since === undefined) return
    const now = clock.monotonicMs()
    const isWell = failing.size === 0
    if (!isWell && now - since.ms >= FAILS_ALONE_MS)
      tellAtMost(toldTimes < OFTEN_TIMES ? AGAIN_EVERY_MS : SELDOM_EVERY_MS)
    // A single hiccup that nobody noticed is over with the probe; once people were told, it takes a whole minute.
    if (isWell && (toldTimes === 0 || now - failedMs >= WELL_AFTER_MS)) over()
  }

  function over(): void {
    since = undefined
    if (toldTimes === 0) return
    toldTimes = 0
    onFault({ code: 'line-back' })
    deps.tell('back')
  }

  return {
    heard: { failed, answered },
    turnedAway,
    get failingSince() {
      return since?.at
    },
    get isDown() {
      return toldTimes > 0
    },
    stop() {
      stopped = true
      wake?.()
    },
  }
}
