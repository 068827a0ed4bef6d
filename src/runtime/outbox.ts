import { passed } from '../points/points.ts'
import type { OutboxRow, Store } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import { type Clock, type Random, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { type LaneRules, type NextTry, nextTry, type Outcome } from './lane.ts'
import { pacer } from './pacer.ts'
import type { Ready, Sending } from './sending.ts'

/** Longest rest between two looks at the store, in milliseconds. */
const REST_MS = 1_000

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

  /** One try of one row. Whatever fails on our side leaves the row to its lease: it is sent again, labelled. */
  async function carry(row: OutboxRow): Promise<void> {
    const { caseId, effectId } = row
    try {
      passed(`outbox.${lane}.claimed`)
      const ready = await readied(row)
      if (ready === undefined) return
      passed(`outbox.${lane}.rendered`)
      if (ready.content !== undefined) await store.rendered(effectId, ready.content, clock.now())
      passed(`outbox.${lane}.kept`)
      const outcome = await tried(ready)
      passed(`outbox.${lane}.sent`)
      await settle(row, nextTry(rules, outcome, row.tries, ready.firstAt, clock.now(), random))
    } catch (error) {
      onFault({ code: 'store-failed', lane, caseId, effectId, error })
    }
  }

  /** A row that cannot be read even so far is given up: the case hears of it, and the next in its queue may go. */
  async function readied(row: OutboxRow): Promise<Ready | undefined> {
    try {
      return await sending.ready(row, clock.now())
    } catch (error) {
      if (!(error instanceof SyntaxError)) throw error
      onFault({ code: 'outbox-row-unreadable', lane, caseId: row.caseId, effectId: row.effectId, error })
      await store.settle(row.effectId, { kind: 'given-up', at: clock.now(), reason: 'unreadable' }, row.tries)
      return undefined
    }
  }

  async function tried(ready: Ready): Promise<Outcome> {
    // Adapters promise not to throw; one that does may have sent before it did.
    const send = ready.send().catch((): Outcome => ({ kind: 'unknown', reason: 'adapter-threw' }))
    return within(clock, rules.timeout, send, { kind: 'unknown', reason: 'timeout' } as const)
  }

  async function settle(row: OutboxRow, next: NextTry): Promise<void> {
    const at: Instant = clock.now()
    if (next.kind === 'again') {
      await store.settle(row.effectId, next, row.tries)
      passed(`outbox.${lane}.settled`)
      retryAtMs = Math.min(retryAtMs, clock.monotonicMs() + Math.max(0, next.notBefore - at))
      return
    }
    await store.settle(row.effectId, next.kind === 'sent' ? { kind: 'sent', at } : { ...next, at }, row.tries)
    passed(`outbox.${lane}.settled`)
    sending.ended(row, next.kind)
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
