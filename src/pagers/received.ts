import type { Instant } from '../time/instant.ts'

/** One page as it reached a demonstration's receiver: who would have been reached, and how. */
export interface Received {
  readonly at: Instant
  readonly how: 'mail' | 'webhook' | 'sms'
  /** The mailbox, the telephone number, or the id of the person or desk. */
  readonly to: string
  readonly text: string
  /** Message id or webhook id; the same for a repeat. */
  readonly id: string
}
