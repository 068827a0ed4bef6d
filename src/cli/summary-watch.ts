import type { Clock } from '../runtime/clock.ts'
import { hours, type Milliseconds, minutes } from '../time/instant.ts'

const LOOK_EVERY_MS = minutes(1)
/** What failed once is likely to fail again, and nobody waits for it. */
const AFTER_FAULT_MS = hours(1)

export interface SummaryWatchOptions {
  readonly clock: Clock
  /** Takes in what has closed since. */
  readonly refresh: () => Promise<unknown>
  readonly onFault: (error: unknown) => void
}

/** Takes in closed cases while the bot serves, so that the pages *Reviews* find them ready and work nothing out when they are opened. */
export function summaryWatch({ clock, refresh, onFault }: SummaryWatchOptions): { start(): void; stop(): void } {
  let cancel = () => {}
  let stopped = false

  function after(ms: Milliseconds): void {
    cancel = clock.wake(clock.monotonicMs() + ms, () => {
      void refresh()
        .then(
          () => LOOK_EVERY_MS,
          error => {
            if (!stopped) onFault(error)
            return AFTER_FAULT_MS
          },
        )
        .then(next => {
          if (!stopped) after(next)
        })
    })
  }

  return {
    start: () => after(LOOK_EVERY_MS),
    stop() {
      stopped = true
      cancel()
    },
  }
}
