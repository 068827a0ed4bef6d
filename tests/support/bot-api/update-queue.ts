import type { Update } from 'grammy/types'
import type { Clock } from '../../../src/runtime/clock.ts'
import { bad, type Refused, type Sent } from './limits.ts'

/** What an update is kept for, in ms: 24 h for messages, 150 s for presses (source of the official Bot API server). */
export const KEPT_MS = { message: 86_400_000, press: 150_000 }

/** The longest a poll is held, in seconds (source of the official server). */
const POLL_MOST_S = 50

export interface Waiting {
  readonly update: Update
  readonly bornMs: number
}

export interface UpdateQueue {
  add(make: (updateId: number) => Update): void
  /** Answers a poll: at once where something waits, else when something comes or its time is over. */
  poll(sent: Sent): Promise<readonly Update[] | Refused>
  /** Holds a poll for its time, and brings nothing. */
  hold(sent: Sent): Promise<readonly Update[]>
  /** What is not confirmed and not too old. */
  waiting(): readonly Waiting[]
  confirm(updateId: number): void
  drop(): void
  isPolled(): boolean
  /** Told of every new update. */
  onAdded: () => void
  stop(): void
}

/**
 * Updates as the Bot API keeps them: numbered in order, given again until a higher offset confirms them, thrown away when too
 * old. Two polls at once are a conflict that ends the first (Bot API, getUpdates; texts from the server's source).
 */
export function updateQueue(clock: Clock, firstId: number): UpdateQueue {
  let queue: Waiting[] = []
  let nextId = firstId
  let held:
    | { readonly end: (answer: readonly Update[] | Refused) => void; readonly take: () => readonly Update[] }
    | undefined

  const isYoung = ({ update, bornMs }: Waiting): boolean =>
    clock.now() - bornMs < ('callback_query' in update ? KEPT_MS.press : KEPT_MS.message)

  const made: UpdateQueue = {
    onAdded: () => undefined,
    add(make) {
      queue.push({ update: make(nextId), bornMs: clock.now() })
      nextId += 1
      const ready = held?.take() ?? []
      if (ready.length > 0) held?.end(ready)
      made.onAdded()
    },
    waiting() {
      queue = queue.filter(isYoung)
      return queue
    },
    confirm(updateId) {
      queue = queue.filter(({ update }) => update.update_id !== updateId)
    },
    drop() {
      queue = []
    },
    isPolled: () => held !== undefined,
    hold: ({ timeout = 0 }) =>
      timeout === 0
        ? Promise.resolve([])
        : new Promise(resolve => {
            clock.wake(clock.monotonicMs() + Math.min(POLL_MOST_S, Number(timeout)) * 1_000, () => resolve([]))
          }),
    poll(sent) {
      const offset = Number(sent.offset ?? 0)
      if (!Number.isInteger(offset)) return Promise.resolve(bad('offset must be a number'))
      held?.end({
        code: 409,
        description:
          'Conflict: terminated by other getUpdates request; make sure that only one bot instance is running',
      })
      if (offset > 0) queue = queue.filter(({ update }) => update.update_id >= offset)
      // A negative offset counts from the end, and forgets what lies before.
      if (offset < 0) queue = queue.slice(offset)
      const take = () =>
        made
          .waiting()
          .slice(0, Number(sent.limit ?? 100))
          .map(({ update }) => update)
      const ready = take()
      const seconds = Math.min(POLL_MOST_S, Number(sent.timeout ?? 0))
      if (ready.length > 0 || seconds === 0) return Promise.resolve(ready)
      return new Promise(resolve => {
        const cancel = clock.wake(clock.monotonicMs() + seconds * 1_000, () => end([]))
        const end = (answer: readonly Update[] | Refused): void => {
          cancel()
          if (held === mine) held = undefined
          resolve(answer)
        }
        const mine = { end, take }
        held = mine
      })
    },
    stop() {
      held?.end([])
    },
  }
  return made
}
