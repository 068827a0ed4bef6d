import type { Clock } from '../runtime/clock.ts'
import { LEAD_MS } from './alarm-rounds.ts'
import { percentile } from './figure.ts'
import { peer } from './peer.ts'

/** What is used of the peer. */
interface Bullmq {
  readonly Queue: new (
    name: string,
    options: object,
  ) => {
    addBulk(jobs: readonly { name: string; data: object; opts: object }[]): Promise<unknown>
    close(): Promise<void>
  }
  readonly Worker: new (
    name: string,
    handle: (job: { data: { due: number } }) => Promise<void>,
    options: object,
  ) => { close(force?: boolean): Promise<void>; on(event: 'error', listener: () => void): void }
}

const QUEUE = 'alarms'
const CONCURRENCY = 100
const IN_BULK = 1_000
/** What stays outstanding is due in a month. */
const LATER_MS = 30 * 86_400_000
/** Time for setting so many before the first is due: slower than it was ever seen. */
const SETTING_MS_EACH = 0.5
/** A round that has not ended by then never will. */
const GIVEN_UP_MS = 60_000

/** A queue of delayed jobs, each of which does nothing when it is due. */
export function delayedJobs(port: number, clock: Clock) {
  const { module, name } = peer<Bullmq>('bullmq')
  const connection = { host: '127.0.0.1', port, maxRetriesPerRequest: null }
  const opts = { removeOnComplete: true, attempts: 1 }
  const queue = new module.Queue(QUEUE, { connection })

  async function add(dues: readonly number[]): Promise<void> {
    for (let from = 0; from < dues.length; from += IN_BULK) {
      const some = dues.slice(from, from + IN_BULK)
      const now = clock.now()
      await queue.addBulk(
        some.map(due => ({
          name: 'alarm',
          data: { due, caseId: 'x' },
          opts: { ...opts, delay: Math.max(1, due - now) },
        })),
      )
    }
  }

  /** Works until so many jobs were handled; how late each was. */
  async function handled(count: number): Promise<readonly number[]> {
    const late: number[] = []
    let done = () => {}
    const all = new Promise<void>(resolve => {
      done = resolve
    })
    const worker = new module.Worker(
      QUEUE,
      async ({ data: { due } }) => {
        late.push(clock.now() - due)
        if (late.length === count) done()
      },
      { connection, concurrency: CONCURRENCY },
    )
    worker.on('error', () => undefined)
    const giveUp = clock.wake(clock.monotonicMs() + GIVEN_UP_MS, done)
    await all
    giveUp()
    await worker.close()
    if (late.length < count)
      throw new Error(`measure: ${name} handled ${late.length} of ${count} jobs within ${GIVEN_UP_MS / 1_000} s`)
    return late
  }

  return {
    name,
    /** Jobs that stay. */
    outstanding: (count: number) => add(Array.from({ length: count }, () => clock.now() + LATER_MS)),
    /** Of jobs due so many milliseconds after a start: how late 99 of 100 were. */
    async lateness(dues: readonly number[]): Promise<number> {
      const start = clock.now() + LEAD_MS + Math.ceil(dues.length * SETTING_MS_EACH)
      await add(dues.map(due => start + due))
      return percentile(await handled(dues.length), 0.99)
    },
    /** Jobs that are overdue when a worker begins: how many a second it takes. */
    async caughtUpASecond(count: number): Promise<number> {
      const due = clock.now() + 1
      await add(Array.from({ length: count }, () => due))
      const started = performance.now()
      await handled(count)
      return (count * 1_000) / (performance.now() - started)
    },
    close: () => queue.close(),
  }
}
