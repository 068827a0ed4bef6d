import { passed } from '../points/points.ts'
import type { AlarmRow, Store } from '../store/store.ts'
import { minutes } from '../time/instant.ts'
import type { Applied } from './case-steps.ts'
import type { Clock } from './clock.ts'
import type { OnFault } from './fault.ts'
import { pacer } from './pacer.ts'

/** Longest rest between two looks at the store, in milliseconds. */
const REST_MS = 1_000
/** Alarms taken at one look: four full groups of a commit, so that no flush is spent on a few left over. */
const AT_ONCE = 128
/** An alarm that could not be fired is tried again this much later, others first. */
const FAILED_AGAIN_MS = minutes(1)

export interface AlarmsDependencies {
  readonly store: Pick<Store, 'due' | 'nextDue'>
  readonly clock: Clock
  /** Turns one due row into the event of its case; the row goes in the same commit. */
  readonly fire: (row: AlarmRow) => Promise<Applied>
  readonly onFault: OnFault
}

export interface Alarms {
  start(): void
  stop(): Promise<void>
  /** An earlier alarm may have been set. */
  kick(): void
  readonly isIdle: boolean
  readonly lookedAtMs: number
}

/**
 * Fires stored alarms. Nothing is kept in memory: what came due while no process ran is found at the first look and fires
 * at once, late rather than never.
 */
export function alarmsLoop(deps: AlarmsDependencies): Alarms {
  const { store, clock, onFault } = deps
  const pace = pacer(clock)
  /** Alarms that failed, by row, and when they may be tried again: one that always fails must not stop the rest. */
  const failed = new Map<string, number>()
  /** Fired at the look before: one that stands there still was not taken away by its step, and must not fire in a circle. */
  let firedBefore = new Set<string>()
  let running: Promise<void> | undefined
  let stopping = false
  let lookedAtMs = clock.monotonicMs()

  async function run(): Promise<void> {
    while (!stopping) {
      const rest = await look()
      if (rest > 0 && !stopping) await pace.rest(rest)
    }
  }

  /** One look at the store; how long to rest after it, in milliseconds. */
  async function look(): Promise<number> {
    lookedAtMs = clock.monotonicMs()
    try {
      const now = clock.now()
      // In the middle of many, the next are asked for at once.
      const isAmongMany = firedBefore.size > 0
      if (!isAmongMany) {
        const next = await store.nextDue()
        if (next === undefined || next > now) return next === undefined ? REST_MS : Math.min(REST_MS, next - now)
      }
      const rows = (await store.due(now, AT_ONCE + failed.size)).filter(mayFire)
      if (rows.length === 0) {
        firedBefore = new Set()
        return isAmongMany ? 0 : REST_MS
      }
      passed('alarms.found')
      const fired = await Promise.all(rows.map(fireOne))
      firedBefore = new Set(rows.filter((_, index) => fired[index] === true).map(keyOf))
      return firedBefore.size > 0 ? 0 : REST_MS
    } catch (error) {
      onFault({ code: 'store-failed', error })
      return REST_MS
    }
  }

  const keyOf = (row: AlarmRow) => JSON.stringify([row.caseId, row.name, row.due])

  function mayFire(row: AlarmRow): boolean {
    const key = keyOf(row)
    if (firedBefore.delete(key)) {
      onFault({ code: 'alarm-stuck', caseId: row.caseId })
      failed.set(key, clock.monotonicMs() + FAILED_AGAIN_MS)
    }
    const again = failed.get(key)
    return again === undefined || again <= clock.monotonicMs()
  }

  /** Whether the row is done with. */
  async function fireOne(row: AlarmRow): Promise<boolean> {
    const key = keyOf(row)
    try {
      passed('alarms.firing')
      const applied = await deps.fire(row)
      passed('alarms.fired')
      if (applied.kind !== 'no-such-case') {
        failed.delete(key)
        return true
      }
      onFault({ code: 'alarm-without-case', caseId: row.caseId })
    } catch (error) {
      onFault({ code: 'store-failed', caseId: row.caseId, error })
      failed.set(key, clock.monotonicMs() + REST_MS)
      return false
    }
    failed.set(key, clock.monotonicMs() + FAILED_AGAIN_MS)
    return false
  }

  return {
    start() {
      running ??= run()
    },
    async stop() {
      stopping = true
      pace.kick()
      await running
    },
    kick: () => pace.kick(),
    get isIdle() {
      return running === undefined || pace.isResting
    },
    get lookedAtMs() {
      return lookedAtMs
    },
  }
}
