import type { Outgoing } from '../case/message.ts'

/**
 * A way families reach the bot. An adapter turns its traffic into `Incoming` (handed to the function it was
 * built with) and delivers `Outgoing`.
 */
export interface Channel {
  readonly id: string
  /** Sends one reply. Never throws: every outcome is a value. */
  deliver(outgoing: Outgoing): Promise<Delivery>
  start(): Promise<void>
  stop(): Promise<void>
}

export type Delivery =
  | { readonly kind: 'delivered' }
  /** Worth another try, not before `retryAfterMs` where the channel said so. */
  | { readonly kind: 'failed'; readonly reason: string; readonly retryAfterMs?: number }
  /** It may or may not have arrived. */
  | { readonly kind: 'unknown'; readonly reason: string }
  /** No retry can help (blocked, gone). */
  | { readonly kind: 'refused'; readonly reason: string }
