import type { ChatRef } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'

/**
 * The store port. It speaks of cases, effects and alarms and leaks nothing of the engine. All content is opaque
 * JSON text to it; of an adapter that can also keep bytes, whatever `C` says. Every method may be called while others are
 * under way; `commit` is atomic and durable on return.
 */
export interface Store<C = string> {
  /** The case as last committed, or undefined. */
  load(caseId: string): Promise<StoredCase<C> | undefined>
  /** Cases of a chat, closed ones too: latest changed first, of those changed together the latest opened first. */
  casesOf(chat: ChatRef): Promise<readonly StoredCase<C>[]>
  /** Cases not closed, and closed ones changed at or after `since`; in the order of `casesOf`. */
  recent(since: Instant): Promise<readonly StoredCase<C>[]>
  /**
   * The same cases in the same order without what they hold, to go through them one at a time. One that was erased may be
   * among them: `load` then says that it is not there.
   */
  recentHeads(since: Instant): Promise<readonly CaseHead[]>
  /**
   * Every case there is in the order of their ids, without what they hold: for whoever goes through all of them. A store on disk
   * holds a page of them at a time. One that is begun or erased meanwhile may be among them or not.
   */
  heads(): AsyncIterable<CaseHead>
  /** All events of a case in order, with what each step put out. */
  history(caseId: string): Promise<readonly StoredEvent<C>[]>
  /**
   * Event + case + outbox + alarms, all or nothing.
   * `duplicate`: (channel, deliveryId) was seen before in this chat; `conflict`: the case is no longer at `step.from`.
   * A delivery seen before is a duplicate even when the step would conflict as well. A rejection means that nothing
   * was acknowledged: the step may be tried again, its event number and delivery keep it from counting twice.
   */
  commit(step: StepRecord<C>): Promise<'committed' | 'duplicate' | 'conflict'>

  /**
   * Leases up to `limit` unsent rows of a lane that are due; per queue only the oldest unsent row, in order (rows sent
   * or given up stand in nobody's way). A lease ends at `at + leaseMs`: from that instant on, a row that was not
   * settled may be claimed again, and says `outcomeUnknown` when it had been rendered.
   */
  claim(lane: Lane, at: Instant, leaseMs: number, limit: number): Promise<readonly OutboxRow<C>[]>
  /** Writes the rendered text of a claimed row, before it is sent. A row already settled keeps what it has. */
  rendered(effectId: string, content: C, at: Instant): Promise<void>
  /**
   * Ends a claim: sent, given up, or to be tried again at `notBefore`. A row once sent or given up stays so. With
   * `tries` (as the claim gave it), an `again` or `given-up` of a claim that lost its lease to a later one does
   * nothing; `sent` always counts, since it did arrive. Rejects when there is no such row.
   */
  settle(effectId: string, outcome: Settled, tries?: number): Promise<void>
  /**
   * Ends the leases an earlier process left: its rows can be claimed at once, and say `outcomeUnknown` when they had been
   * rendered. Only a process that alone serves the store calls this, once, before its first claim. How many there were.
   */
  releaseLeases?(): Promise<number>
  /** Rows of a case, oldest first: what was sent, what is waiting, what was given up. */
  outboxOf(caseId: string): Promise<readonly OutboxRow<C>[]>

  /** Alarms due at or before `at`, earliest first. An alarm goes when a later step of its case sets or cancels it. */
  due(at: Instant, limit: number): Promise<readonly AlarmRow[]>
  /** The earliest alarm, or undefined. */
  nextDue(): Promise<Instant | undefined>
  /** When the alarm of this name of a case is due; undefined when none is set. Without it, whoever asks looks through `due`. */
  alarmOf?(caseId: string, name: string): Promise<Instant | undefined>
  /**
   * Calls `listener` after every durable commit of a step and after every settled row: there may be something to send
   * or an earlier alarm. Not called for claims. Returns a function that ends it.
   */
  onCommitted?(listener: () => void): () => void
  /** Writes something of its own and makes it durable: resolves only while the store keeps what it is told. Leaves no trace. */
  probe?(): Promise<void>
  /** Writes waiting for their turn; above 1,000 a front door answers "busy, come back" instead of taking more. */
  queued?(): number
  /** Present where several processes work on one store: each acts for some of the chats, and `commit` for others rejects with `NotOurs`. */
  readonly sharing?: Sharing<C>
  /** Writes what is queued, then lets go of the file or connection. Later calls reject. */
  close(): Promise<void>
}

/** Chats a process has come to act for. */
export interface TakenChats {
  has(chat: ChatRef): boolean
  /** When whoever acted for some of them before was last heard of; undefined when nobody ever did. */
  readonly heardAt: Instant | undefined
}

/** How processes that work on one store divide it, and hand each other what is not theirs. */
export interface Sharing<C = string> {
  /** Takes what is free, up to an even share, and goes on so. Claims and alarms of chats not taken are not seen. */
  start(): Promise<void>
  /** Whether this process acts for a chat, as far as it knows. */
  isOurs(chat: ChatRef): boolean
  onTaken(listener: (taken: TakenChats) => void): void
  /** Whether this is the one process of the line that does what only one may do. */
  readonly isLead: boolean
  /** Whether no other process lives. */
  readonly isAlone: boolean
  figures(): SharingFigures
  /** Keeps something for whoever acts for the chat. The same id again: nothing more. `full`: come back later. */
  put(chat: ChatRef, id: string, content: C): Promise<'kept' | 'full'>
  /** What waits for this process, oldest first within a chat. */
  waiting(limit: number): Promise<readonly InboxItem<C>[]>
  /** Ends an item, with an answer for whoever put it: no words of anybody, since it is not sealed. */
  done(item: InboxItem<C>, answer: string): Promise<void>
  /** The answer to what was put; undefined while there is none, and a minute after it was given. */
  answer(chat: ChatRef, id: string): Promise<string | undefined>
}

export interface SharingFigures {
  /** Parts of the cases this process acts for, of `shards` in all. */
  readonly owned: number
  readonly shards: number
  /** Processes that live, as far as was heard. */
  readonly processes: number
  /** Steps answered though no replica had them in time. */
  readonly alone: number
  /** Where the clinic's file wants replicas. */
  readonly replicas?: {
    readonly wanted: number
    /** Of the server that has fewest; undefined before the first look. */
    readonly connected: number | undefined
    /** How long there have been too few, in milliseconds. */
    readonly missingMs: number | undefined
  }
}

export interface InboxItem<C = string> {
  readonly id: string
  readonly content: C
  /** Where the store keeps it. */
  readonly place: number
}

/** What every store has, where `sharing` is for those that are shared. */
export type WholeStore<C = string> = Required<Omit<Store<C>, 'sharing'>> & Pick<Store<C>, 'sharing'>

/** A store under the sealed one: it keeps whatever content it is given, finds one event, and can let go of a case. */
export interface SealableStore<C> extends WholeStore<C> {
  /** One event of a case, or undefined. */
  event(caseId: string, seq: number): Promise<StoredEvent<C> | undefined>
  /** Ids of closed cases last changed before the instant that do not hold `mark` as their state; the longest closed first. */
  closedBefore(olderThan: Instant, mark: C): Promise<readonly string[]>
  /**
   * Takes a case out of everything that goes on: closed, without alarms, what waits to be sent given up with the reason
   * `case-erased`, and `mark` in the place of every content. Its event number moves on by one, so that a step on its way
   * conflicts; deliveries and instants stay. A case that is not there, or holds the mark already: nothing.
   */
  forget(caseId: string, mark: C, at: Instant): Promise<void>
}

/** What an adapter may be given to keep, if it keeps more than text. */
export type Content = string | Uint8Array

export interface StoredCase<C = string> {
  readonly caseId: string
  readonly chat: ChatRef
  /** Number of the last event; 0 before the first. */
  readonly seq: number
  readonly closed: boolean
  readonly changedAt: Instant
  /** JSON of CaseState. */
  readonly state: C
}

/** A case without its state. */
export type CaseHead = Omit<StoredCase, 'state'>

export interface StoredEvent<C = string> {
  readonly caseId: string
  readonly seq: number
  readonly at: Instant
  /** JSON of CaseEvent. */
  readonly event: C
  /** JSON of Effect[]. */
  readonly effects: C
}

export type Lane = 'page' | 'family'

export interface StepRecord<C = string> {
  readonly caseId: string
  readonly chat: ChatRef
  /** The event number the step started from; the new one is `from + 1`. */
  readonly from: number
  readonly at: Instant
  readonly closed: boolean
  readonly state: C
  readonly event: C
  readonly effects: C
  /** Present when the event came from outside. */
  readonly delivery?: { readonly channel: string; readonly deliveryId: string }
  readonly outbox: readonly NewOutboxRow<C>[]
  /** Alarms to set (replacing one of the same name) and names to cancel. Cancelling comes first. */
  readonly alarms: { readonly set: readonly { name: string; due: Instant }[]; readonly cancel: readonly string[] }
}

export interface NewOutboxRow<C = string> {
  readonly effectId: string
  readonly lane: Lane
  /** Rows of one queue go out in order (the chat; each page its own). No queue holds rows of two chats. */
  readonly queue: string
  /** JSON of the effect: ids and instants, no text. */
  readonly effect: C
  readonly notBefore: Instant
}

export interface OutboxRow<C = string> extends NewOutboxRow<C> {
  readonly caseId: string
  readonly seq: number
  /** Claims so far, the present one included: 1 at the first. */
  readonly tries: number
  /** JSON of Outgoing or Page as rendered, once claimed and rendered. */
  readonly content?: C
  readonly renderedAt?: Instant
  readonly status: 'waiting' | 'sent' | 'given-up'
  readonly sentAt?: Instant
  /** Given-up rows only: why. */
  readonly reason?: string
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

/** Why a file or server cannot serve as the store. The message says what was found and what to do. */
export class StoreUnusable extends Error {
  override readonly name = 'StoreUnusable'
}

/** This process does not act for the chat now: another does, or is about to. Nothing was written; it is the other's to do. */
export class NotOurs extends Error {
  override readonly name = 'NotOurs'
}
