import { type Instant, minutes, seconds } from '../time/instant.ts'
import type { Clock } from './clock.ts'
import type { OnFault } from './fault.ts'

const LOOK_EVERY_MS = seconds(1)
/** Loops that have not turned for so long never will: the process ends, so that another begins. */
export const LOOPS_STAND_MS = seconds(90)
/** How long a late turn of the event loop is remembered. */
const REMEMBERED_MS = minutes(1)

export interface WatchLoopsDependencies {
  readonly clock: Clock
  /** Milliseconds since the loop looked last that looked longest ago. */
  readonly sinceLookMs: () => number
  /** Sends under way at once as the lanes allow them, by lane: is there room for one more? */
  readonly isFull: (lane: 'pages' | 'replies') => boolean
  readonly onFault: OnFault
  /** The loops stand: the process is to end with an error. */
  readonly onStanding: () => void
}

export interface WatchLoops {
  start(): void
  stop(): void
  /** The latest turn of the event loop within the last minute: by how much, in milliseconds, and when. */
  latest(): { readonly lateMs: number; readonly at: Instant } | undefined
  /** Since when a lane has had no room. */
  fullSince(lane: 'pages' | 'replies'): { readonly at: Instant; readonly ms: number } | undefined
}

/** Looks every second whether everything still turns: by its own lateness, and by when each loop looked last. */
export function watchLoops(deps: WatchLoopsDependencies): WatchLoops {
  const { clock, onFault } = deps
  const full = new Map<string, { readonly at: Instant; readonly ms: number }>()
  let worst: { readonly lateMs: number; readonly at: Instant; readonly ms: number } | undefined
  let cancel: (() => void) | undefined
  let told = false

  function arm(): void {
    const due = clock.monotonicMs() + LOOK_EVERY_MS
    cancel = clock.wake(due, () => {
      look(clock.monotonicMs() - due)
      arm()
    })
  }

  function look(lateMs: number): void {
    const ms = clock.monotonicMs()
    const at = clock.now()
    if (worst !== undefined && ms - worst.ms > REMEMBERED_MS) worst = undefined
    if (lateMs > (worst?.lateMs ?? 0)) worst = { lateMs, at, ms }
    for (const lane of ['pages', 'replies'] as const) {
      if (!deps.isFull(lane)) full.delete(lane)
      else if (!full.has(lane)) full.set(lane, { at, ms })
    }
    // After a pause of the whole process the loops get one more second before they are judged.
    if (lateMs > LOOK_EVERY_MS || deps.sinceLookMs() < LOOPS_STAND_MS || told) return
    told = true
    onFault({ code: 'loops-standing', ms: deps.sinceLookMs() })
    deps.onStanding()
  }

  return {
    start: () => arm(),
    stop: () => cancel?.(),
    latest: () => (worst === undefined || clock.monotonicMs() - worst.ms > REMEMBERED_MS ? undefined : worst),
    fullSince: lane => full.get(lane),
  }
}
