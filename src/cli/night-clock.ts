import type { HandClock } from '../runtime/hand-clock.ts'
import type { Store } from '../store/store.ts'
import { type Instant, instant } from '../time/instant.ts'

/** More alarms than any stretch of one night can hold. */
const MOST_STOPS = 10_000

/** Moves a hand-moved clock to `until`, stopping at every alarm on the way so that each fires in its own moment. */
export async function advanceTo(
  clock: HandClock,
  until: Instant,
  store: Store,
  settled: () => Promise<void>,
): Promise<void> {
  for (let stops = 0; stops < MOST_STOPS; stops++) {
    const due = await store.nextDue()
    const next = due === undefined || due > until ? until : instant(Math.max(due, clock.now()))
    clock.moveTo(next)
    await settled()
    if (next === until && (due === undefined || due > until)) return
  }
  throw new Error('the night does not end: alarms come due without end')
}
