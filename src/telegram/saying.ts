import type { Connection, ToSend } from './connection.ts'

/** Says something that belongs to no case: tried a few times by itself, and never in the way of what else arrives. */
export type Say = (chat: string, message: ToSend) => Promise<void>

export interface SayingPorts {
  readonly connection: Pick<Connection, 'send'>
  readonly clock: { monotonicMs(): number; wake(atMs: number, fn: () => void): () => void }
  /** It could not be said, by a code. */
  lost(reason: string): void
}

const TRIES_MOST = 5
const WAIT_MS = 2_000

/**
 * Resolves after the first try. What it answers is kept by then, so losing it loses a word of confirmation or a welcome, which
 * the person asks for again; a chat that was told to slow down must not keep others from being heard.
 */
export function saying({ connection, clock, lost }: SayingPorts): Say {
  async function once(chat: string, message: ToSend, tries: number): Promise<void> {
    const outcome = await connection.send(chat, message)
    // What may have arrived is not said twice.
    if (outcome.kind === 'done' || outcome.kind === 'unknown') return
    if (outcome.kind === 'refused' || tries >= TRIES_MOST) return lost(outcome.reason)
    const wait = outcome.retryAfterMs ?? WAIT_MS * 2 ** (tries - 1)
    clock.wake(clock.monotonicMs() + wait, () => void once(chat, message, tries + 1))
  }
  return (chat, message) => once(chat, message, 1)
}
