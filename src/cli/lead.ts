import type { Clock } from '../runtime/clock.ts'
import type { Sharing } from '../store/store.ts'

const LOOKS_EVERY_MS = 1_000

/**
 * Begins what only one process of a line may do (hearing a bot's messages, telling people of holes in the rota): at once where
 * the line has one process, else as soon as this one leads. One that no longer leads, since it slept, is found out by the other
 * side: two that hear one bot are told so, and end.
 *
 * @returns ends the waiting
 */
export function whenLeading(sharing: Pick<Sharing, 'isLead'> | undefined, clock: Clock, begin: () => void): () => void {
  let cancel = (): void => undefined
  const look = (): void => {
    if (sharing === undefined || sharing.isLead) begin()
    else cancel = clock.wake(clock.monotonicMs() + LOOKS_EVERY_MS, look)
  }
  look()
  return () => cancel()
}
