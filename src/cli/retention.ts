import type { Clock } from '../runtime/clock.ts'
import type { SealedStore } from '../store/sealed-store.ts'
import { before, days, type Milliseconds, minutes } from '../time/instant.ts'

/** After the start the bot has families to answer first. */
const FIRST_AFTER_MS = minutes(1)
const EVERY_MS = days(1)

export interface RetentionPorts {
  readonly store: SealedStore
  readonly clock: Clock
  /** How long a closed case is kept. */
  readonly keep: () => Milliseconds
  /** Told how many cases each purge erased, none included: that it ran is what the clinic promised. */
  readonly onPurged: (count: number) => void
  readonly onFault: (error: unknown) => void
}

/** Erases, a minute after the start and once a day, what is closed and older than the clinic keeps. */
export interface Retention {
  start(): void
  /** Resolves when an erasing under way has ended. */
  stop(): Promise<void>
}

export function retention({ store, clock, keep, onPurged, onFault }: RetentionPorts): Retention {
  let cancel = () => {}
  let running: Promise<void> = Promise.resolve()
  let stopped = false

  function again(afterMs: number): void {
    cancel = clock.wake(clock.monotonicMs() + afterMs, () => {
      running = purge().then(() => {
        if (!stopped) again(EVERY_MS)
      })
    })
  }

  /** What fails today is done tomorrow. */
  async function purge(): Promise<void> {
    try {
      const now = clock.now()
      onPurged((await store.purge(before(now, keep()), now)).length)
    } catch (error) {
      onFault(error)
    }
  }

  return {
    start: () => again(FIRST_AFTER_MS),
    async stop() {
      stopped = true
      cancel()
      await running
    },
  }
}
