import type { Update } from 'grammy/types'

/** What becomes of an update: taken (what it leads to is durable), parked for a person, or to be brought again. */
export type Taken = 'taken' | 'parked' | { readonly againAfterMs: number }

export interface TakePorts {
  /** Resolves when what the update leads to is durable. The same update twice changes nothing. */
  take(update: Update): Promise<void>
  /** Keeps an update that could not be taken, in its raw form, and tells the clinic. Resolves when it is kept. */
  park(update: Update): Promise<void>
  /** Asks the store itself; false while it keeps nothing: then nothing is wrong with the update. */
  isStoreWell(): Promise<boolean>
}

/** After so many failures, while the store is well, the fault lies in the update. */
const TRIES_MOST = 3
const COUNTED_MOST = 1_000

/** Takes each update, counts its failures, and lays aside the one that can never be taken. */
export function taking(ports: TakePorts): (update: Update) => Promise<Taken> {
  const failures = new Map<number, number>()

  return async update => {
    try {
      await ports.take(update)
      failures.delete(update.update_id)
      return 'taken'
    } catch (error) {
      const askedMs = retryAfterMsOf(error)
      const isItsOwn = !isBusy(error) && (await ports.isStoreWell())
      const count = (failures.get(update.update_id) ?? 0) + (isItsOwn ? 1 : 0)
      if (failures.size >= COUNTED_MOST) failures.clear()
      failures.set(update.update_id, count)
      if (count < TRIES_MOST) return { againAfterMs: askedMs ?? 1_000 }
      try {
        await ports.park(update)
        failures.delete(update.update_id)
        return 'parked'
      } catch {
        return { againAfterMs: 5_000 }
      }
    }
  }
}

/** The front door is full: nothing is wrong with the message. */
const isBusy = (error: unknown): boolean => error instanceof Error && error.name === 'Busy'

function retryAfterMsOf(error: unknown): number | undefined {
  if (typeof error !== 'object' || error === null || !('retryAfterSeconds' in error)) return undefined
  return typeof error.retryAfterSeconds === 'number' ? error.retryAfterSeconds * 1_000 : undefined
}
