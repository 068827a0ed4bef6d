import type { CaseEvent } from '../case/event.ts'
import type { Clock } from './clock.ts'
import type { OnFault } from './fault.ts'
import type { Worker } from './worker.ts'

const AGAIN_MS = 1_000

/** Tells cases what became of pages and replies, again and again until the store has it. */
export interface Teller {
  tell(caseId: string, event: CaseEvent, deliveryId: string): void
  /** Stops trying again; what was not told is found by the next start. */
  stop(): void
  /** Not told yet. */
  readonly waiting: number
}

export function teller(worker: Pick<Worker, 'tell'>, clock: Clock, onFault: OnFault): Teller {
  const cancels = new Set<() => void>()
  let waiting = 0
  let stopped = false

  async function tryOnce(caseId: string, event: CaseEvent, deliveryId: string): Promise<void> {
    try {
      await worker.tell(caseId, event, deliveryId)
      waiting -= 1
    } catch (error) {
      onFault({ code: 'store-failed', caseId, error })
      if (stopped) return
      const cancel = clock.wake(clock.monotonicMs() + AGAIN_MS, () => {
        cancels.delete(cancel)
        void tryOnce(caseId, event, deliveryId)
      })
      cancels.add(cancel)
    }
  }

  return {
    tell(caseId, event, deliveryId) {
      waiting += 1
      void tryOnce(caseId, event, deliveryId)
    },
    stop() {
      stopped = true
      for (const cancel of cancels) cancel()
      cancels.clear()
    },
    get waiting() {
      return waiting
    },
  }
}
