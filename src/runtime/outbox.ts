import { passed } from '../points/points.ts'
import type { OutboxRow, Settled, Store, StoredCase } from '../store/store.ts'
import { after, seconds } from '../time/instant.ts'
import { type Clock, type Random, within } from './clock.ts'
import type { FaultCode, OnFault } from './fault.ts'
import { type LaneRules, type NextTry, nextTry, type Outcome } from './lane.ts'
import { pacer } from './pacer.ts'
import type { Ready, Sending } from './sending.ts'

/** Longest rest between two looks at the store, in milliseconds. */
const REST_MS = 1_000
/** After this the store is asked again where it failed. */
const SOON_MS = seconds(1)

export interface LaneDependencies {
  readonly store: Store
  readonly clock: Clock
  readonly random: Random
  readonly rules: LaneRules
  readonly sending: Sending
  readonly onFault: OnFault
}

/** One lane of the outbox at work. Lanes share nothing but the store: a page never waits behind a family's words. */
export interface LaneLoop {
  start(): void
  /** Claims no more and resolves when what is under way has ended. */
  stop(): Promise<void>
  /** There may be something to send. */
  kick(): void
  readonly inFlight: number
  /** True when nothing is under way and nothing new is known of. */
  readonly isIdle: boolean
  /** When the loop last looked at the store, on the monotonic clock. */
  readonly lookedAtMs: number
}

/**
 * Claims due rows, sends each by itself, and settles it: sent, again later, or given up. The store leases per queue only
 * the oldest row, so one chat's words stay in order and one slow chat holds up nobody else.
 */
export function laneLoop(deps: LaneDependencies): LaneLoop {
  const { store, clock, random, rules, sending, onFault } = deps
  const { lane } = rules
  const pace = pacer(clock)
  const underWay = new Set<Promise<void>>()
  let running: Promise<void> | undefined
  let stopping = false
  let lookedAtMs = clock.monotonicMs()
  /** When the next row that is to be tried again comes due; the loop looks by then. */
  let retryAtMs = Number.POSITIVE_INFINITY

  async function run(): Promise<void> {
    while (!stopping) {
      const claimed = await look()
      if (claimed === 0 && !stopping) await pace.rest(Math.min(REST_MS, retryAtMs - clock.monotonicMs()))
    }
  }

  /** One look at the store; how many rows were claimed. */
  async function look(): Promise<number> {
    lookedAtMs = clock.monotonicMs()
    if (retryAtMs <= lookedAtMs) retryAtMs = Number.POSITIVE_INFINITY
    const room = rules.inFlightMax - underWay.size
    if (room <= 0) return 0
    try {
      const rows = await store.claim(lane, clock.now(), rules.lease, room)
      for (const row of rows) track(carry(row))
      return rows.length
    } catch (error) {
      onFault({ code: 'store-failed', lane, error })
      return 0
    }
  }

  function track(work: Promise<void>): void {
    underWay.add(work)
    void work.finally(() => {
      underWay.delete(work)
      pace.kick()
    })
  }

  /** One try of one row, from claim to its end written down. */
  async function carry(row: OutboxRow): Promise<void> {
    const leasedUntilMs = clock.monotonicMs() + rules.lease
    passed(`outbox.${lane}.claimed`)
    let ready: Ready | undefined
    try {
      ready = readied(row, await store.load(row.caseId))
      passed(`outbox.${lane}.rendered`)
      if (ready?.content !== undefined) await store.rendered(row.effectId, ready.content, clock.now())
    } catch (error) {
      // Nothing has left: the row is handed back at once, or waits for its lease where the store takes not even that.
      fault('store-failed', row, error)
      return settle(row, { kind: 'again', notBefore: after(clock.now(), SOON_MS), outcomeUnknown: false }, 0)
    }
    if (ready === undefined) return end(row, { kind: 'given-up', reason: 'unreadable' }, leasedUntilMs)
    passed(`outbox.${lane}.kept`)
    const outcome = await tried(ready)
    passed(`outbox.${lane}.sent`)
    await end(row, nextTry(rules, outcome, row.tries, ready.firstAt, clock.now(), random), leasedUntilMs)
  }

  /** A row that itself cannot be read is given up: the case hears of it, and the next in its queue may go. */
  function readied(row: OutboxRow, stored: StoredCase | undefined): Ready | undefined {
    try {
      return sending.ready(row, stored, clock.now())
    } catch (error) {
      fault('outbox-row-unreadable', row, error)
      return undefined
    }
  }

  async function tried(ready: Ready): Promise<Outcome> {
    // Adapters promise not to throw; one that does may have sent before it did.
    const send = ready.send().catch((): Outcome => ({ kind: 'unknown', reason: 'adapter-threw' }))
    return within(clock, rules.timeout, send, { kind: 'unknown', reason: 'timeout' } as const)
  }

  async function end(row: OutboxRow, next: NextTry, leasedUntilMs: number): Promise<void> {
    const at = clock.now()
    if (next.kind === 'again') return settle(row, next, leasedUntilMs)
    if (next.kind === 'given-up') fault(lane === 'page' ? 'page-given-up' : 'reply-given-up', row)
    await settle(row, next.kind === 'sent' ? { kind: 'sent', at } : { ...next, at }, leasedUntilMs)
  }

  /**
   * Writes the end of a try down, again and again while the row is leased: what has arrived is not sent twice because the
   * store failed once. After that the row is found by its lease, and sent again, labelled.
   */
  async function settle(row: OutboxRow, settled: Settled, leasedUntilMs: number): Promise<void> {
    for (;;) {
      try {
        await store.settle(row.effectId, settled, row.tries)
        break
      } catch (error) {
        fault('store-failed', row, error)
        if (stopping || clock.monotonicMs() + SOON_MS >= leasedUntilMs) return
        await rest(SOON_MS)
      }
    }
    passed(`outbox.${lane}.settled`)
    if (settled.kind === 'again')
      retryAtMs = Math.min(retryAtMs, clock.monotonicMs() + Math.max(0, settled.notBefore - clock.now()))
    else await ended(row, settled.kind)
  }

  /** Tells the case; again until the store could be read for it. What is not told by the end is found by the next start. */
  async function ended(row: OutboxRow, outcome: 'sent' | 'given-up'): Promise<void> {
    try {
      await sending.ended(row, outcome)
    } catch (error) {
      fault('store-failed', row, error)
      if (!stopping) void rest(SOON_MS).then(() => ended(row, outcome))
    }
  }

  const rest = (ms: number) => new Promise<void>(wake => clock.wake(clock.monotonicMs() + ms, wake))

  function fault(code: FaultCode, { caseId, effectId }: OutboxRow, error?: unknown): void {
    onFault({ code, lane, caseId, effectId, ...(error === undefined ? {} : { error }) })
  }

  return {
    start() {
      running ??= run()
    },
    async stop() {
      stopping = true
      pace.kick()
      await running
      while (underWay.size > 0) await Promise.all(underWay)
    },
    kick: () => pace.kick(),
    get inFlight() {
      return underWay.size
    },
    get isIdle() {
      return underWay.size === 0 && (running === undefined || pace.isResting)
    },
    get lookedAtMs() {
      return lookedAtMs
    },
  }
}
