import type { ChatRef } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'

/**
 * The store port. It speaks of cases, effects and alarms and leaks nothing of the engine. All content is opaque
 * JSON text to it. Every method may be called while others are under way; `commit` is atomic and durable on return.
 */
export interface Store {
  /** The case as last committed, or undefined. */
  load(caseId: string): Promise<StoredCase | undefined>
  /** Cases of a chat, latest first, closed ones too. */
  casesOf(chat: ChatRef): Promise<readonly StoredCase[]>
  /** Cases not closed, and closed ones changed since `since`. */
  recent(since: Instant): Promise<readonly StoredCase[]>
  /** All events of a case in order, with what each step put out. */
  history(caseId: string): Promise<readonly StoredEvent[]>
  /**
   * Event + case + outbox + alarms, all or nothing.
   * `duplicate`: (channel, deliveryId) was seen before; `conflict`: the case is no longer at `step.from`.
   */
  commit(step: StepRecord): Promise<'committed' | 'duplicate' | 'conflict'>

  /** Leases up to `limit` unsent rows of a lane that are due; per chat only the oldest unsent row, in order. */
  claim(lane: Lane, at: Instant, leaseMs: number, limit: number): Promise<readonly OutboxRow[]>
  /** Writes the rendered text of a claimed row, before it is sent. */
  rendered(effectId: string, content: string, at: Instant): Promise<void>
  /** Ends a claim: sent, given up, or to be tried again at `notBefore`. */
  settle(effectId: string, outcome: Settled): Promise<void>
  /** Rows of a case, oldest first: what was sent, what is waiting, what was given up. */
  outboxOf(caseId: string): Promise<readonly OutboxRow[]>

  /** Alarms due at or before `at`, earliest first. An alarm goes when a later step of its case sets or cancels it. */
  due(at: Instant, limit: number): Promise<readonly AlarmRow[]>
  /** The earliest alarm, or undefined. */
  nextDue(): Promise<Instant | undefined>
  close(): Promise<void>
}

export interface StoredCase {
  readonly caseId: string
  readonly chat: ChatRef
  /** Number of the last event; 0 before the first. */
  readonly seq: number
  readonly closed: boolean
  readonly changedAt: Instant
  /** JSON of CaseState. */
  readonly state: string
}

export interface StoredEvent {
  readonly caseId: string
  readonly seq: number
  readonly at: Instant
  /** JSON of CaseEvent. */
  readonly event: string
  /** JSON of Effect[]. */
  readonly effects: string
}

export type Lane = 'page' | 'family'

export interface StepRecord {
  readonly caseId: string
  readonly chat: ChatRef
  /** The event number the step started from; the new one is `from + 1`. */
  readonly from: number
  readonly at: Instant
  readonly closed: boolean
  readonly state: string
  readonly event: string
  readonly effects: string
  /** Present when the event came from outside. */
  readonly delivery?: { readonly channel: string; readonly deliveryId: string }
  readonly outbox: readonly NewOutboxRow[]
  /** Alarms to set (replacing one of the same name) and names to cancel. Cancelling comes first. */
  readonly alarms: { readonly set: readonly { name: string; due: Instant }[]; readonly cancel: readonly string[] }
}

export interface NewOutboxRow {
  readonly effectId: string
  readonly lane: Lane
  /** Rows of one queue go out in order (the chat; each page its own). */
  readonly queue: string
  /** JSON of the effect: ids and instants, no text. */
  readonly effect: string
  readonly notBefore: Instant
}

export interface OutboxRow extends NewOutboxRow {
  readonly caseId: string
  readonly seq: number
  readonly tries: number
  /** JSON of Outgoing or Page as rendered, once claimed and rendered. */
  readonly content?: string
  readonly renderedAt?: Instant
  readonly status: 'waiting' | 'sent' | 'given-up'
  readonly sentAt?: Instant
  /** True when an earlier try may have arrived. */
  readonly outcomeUnknown: boolean
}

export type Settled =
  | { readonly kind: 'sent'; readonly at: Instant }
  | { readonly kind: 'again'; readonly notBefore: Instant; readonly outcomeUnknown: boolean }
  | { readonly kind: 'given-up'; readonly at: Instant; readonly reason: string }

export interface AlarmRow {
  readonly caseId: string
  readonly name: string
  readonly due: Instant
}
