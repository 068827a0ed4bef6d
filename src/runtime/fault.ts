import type { Lane } from '../store/store.ts'

export type FaultCode =
  /** A step threw, or a stored case could not be trusted: the family got the fixed text, everyone was paged. */
  | 'case-parked'
  /** A case changed under us five times running. */
  | 'case-contended'
  | 'store-failed'
  /** A message could not be read at all; a person was paged instead. */
  | 'understanding-failed'
  /** Text could not be worked out; the fixed text went out in its place. */
  | 'render-failed'
  | 'outbox-row-unreadable'
  | 'channel-unknown'
  | 'pager-unknown'
  | 'page-given-up'
  /** A telephone company took a page and told later that it did not get to the telephone. */
  | 'page-lost'
  | 'reply-given-up'
  | 'alarm-without-case'
  /** An alarm stands in the store still after its step. */
  | 'alarm-stuck'
  /** The wall clock jumped against the monotonic one. */
  | 'clock-stepped'
  /** What is written down of an open case lies more than a day ahead of the clock: its alarms wait for that. */
  | 'clock-behind-case'
  | 'heartbeat-failed'
  /** Families are turned away, or pages stand still: people were paged past the store. */
  | 'line-down'
  /** The store has been well for a minute: people were told. */
  | 'line-back'
  /** No address took the page about the line itself. */
  | 'line-unheard'
  /** A way of paging has taken nothing for two minutes. */
  | 'pager-failing'
  /** The loops have not turned for a minute and a half: the process ends, to be started again. */
  | 'loops-standing'
  /** The process did not move at all for a minute and a half: it was ended from outside its event loop. */
  | 'loop-blocked'
  /** An error that nothing had caught: the process ended itself. */
  | 'process-fault'
  /** What another process kept for this one cannot be read: another program, or another key. */
  | 'handed-unreadable'
  | 'stop-timed-out'

/** Something that needs a person's eyes. Holds ids, codes and an error; its message must not be logged. */
export interface Fault {
  readonly code: FaultCode
  readonly caseId?: string
  readonly effectId?: string
  readonly lane?: Lane
  readonly why?: string
  readonly ms?: number
  readonly error?: unknown
}

export type OnFault = (fault: Fault) => void

/** The front door is full: come back in `retryAfterSeconds`. Nothing was taken, so nothing was lost. */
export class Busy extends Error {
  override readonly name = 'Busy'
  readonly retryAfterSeconds: number

  constructor(queued: number, retryAfterSeconds = 1) {
    super(`worker: ${queued} messages are waiting; expected at most the limit; send again in ${retryAfterSeconds} s`)
    this.retryAfterSeconds = retryAfterSeconds
  }
}

/** The store did not take a message. The sender must send it again; the family was given the fixed text where possible. */
export class NotStored extends Error {
  override readonly name = 'NotStored'
  readonly retryAfterSeconds = 2
}
