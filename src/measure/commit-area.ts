import { subscribe, unsubscribe } from 'node:diagnostics_channel'
import { join } from 'node:path'
import { monitorEventLoopDelay } from 'node:perf_hooks'
import { DatabaseSync } from 'node:sqlite'
import { POINT_CHANNEL, type Point } from '../points/points.ts'
import type { StepRecord } from '../store/store.ts'
import { recordedConversation } from './conversation.ts'
import { figureOf, type Measured, ratios } from './figure.ts'
import { interleaved } from './rounds.ts'
import { type Committing, maker, opened, run } from './steps.ts'
import type { AreaContext } from './subject.ts'

/** Cases a round; each is opened before, and then moved on by {@link STEPS_A_CASE} steps. */
const CASES = 64
const STEPS_A_CASE = 8
const IN_FLIGHT = 64
/** Cases a round where one step at a time waits for a slow disk. */
const SLOW_CASES = 24
/** Longest flush that is imitated: a plain disk's. */
const FLUSH_MS = 5
const LOADED_IN_FLIGHT = 256
const LOADED_CASES = 1_024

/** What a durable step costs through the store that serves: seals, event, case, outbox, alarms, in the order they come. */
export async function commitArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const conversation = await recordedConversation(subject, ground, subject.clock.now())
  const folder = ground.folder()
  const served = await subject.openStore(join(folder, 'served'))
  const single = await subject.openStoreStepByStep(join(folder, 'single'))
  const bare = bareInserts(join(folder, 'bare.sqlite'))
  const made = maker(conversation)
  const rate = async (store: Committing, cases: number, inFlight: number) =>
    run(store, await opened(store, made, cases, STEPS_A_CASE), inFlight)

  const plain = await interleaved(
    {
      one: () => rate(served, CASES, 1),
      bare: () => bare.run(CASES * STEPS_A_CASE),
      single: () => rate(single, CASES, 1),
      many: () => rate(served, CASES, IN_FLIGHT),
    },
    { what: 'commit', progress, rounds: 15 },
  )
  const slow = await withSlowFlush(() =>
    interleaved(
      { single: () => rate(single, SLOW_CASES, 1), many: () => rate(served, CASES, IN_FLIGHT) },
      { what: `commit with a flush of ${FLUSH_MS} ms`, progress },
    ),
  )
  const loaded = await interleaved(
    { p99: async () => loopDelay(served, await opened(served, made, LOADED_CASES, STEPS_A_CASE)) },
    { what: `commit, ${LOADED_IN_FLIGHT} in flight`, progress },
  )
  await served.close()
  await single.close()
  bare.close()
  ground.removeFolder(folder)

  const sqlite = `node:sqlite ${process.versions.sqlite ?? ''}`
  const oneATransaction = `the same rows and seals, one step a transaction, ${sqlite}, synchronous FULL`
  const times = { area: 'commit', unit: 'times', bound: 'least' } as const
  return [
    figureOf(
      {
        ...times,
        name: 'sealed steps a second, one in flight',
        target: 0.6,
        against: `${sqlite}, bare one-row insert, write-ahead log, synchronous FULL`,
      },
      ratios(plain.one, plain.bare),
    ),
    figureOf(
      { ...times, name: `steps a second, ${IN_FLIGHT} in flight`, target: 3, against: oneATransaction },
      ratios(plain.many, plain.single),
    ),
    figureOf(
      {
        ...times,
        name: `steps a second, ${IN_FLIGHT} in flight, each flush ${FLUSH_MS} milliseconds slower`,
        target: 15,
        against: `${oneATransaction}, as slow a flush; the slowness is imitated by waiting before COMMIT`,
      },
      ratios(slow.many, slow.single),
    ),
    figureOf(
      {
        area: 'commit',
        name: 'speed that grouping loses, one in flight',
        unit: 'percent',
        bound: 'most',
        target: 5,
        against: oneATransaction,
      },
      ratios(plain.one, plain.single).map(share => (1 - share) * 100),
    ),
    figureOf(
      {
        area: 'commit',
        name: `delay of the event loop with ${LOADED_IN_FLIGHT} in flight, 99th of 100`,
        unit: 'milliseconds',
        bound: 'most',
        target: 10,
        against: 'no peer: node:perf_hooks monitorEventLoopDelay, resolution 1 millisecond',
      },
      loaded.p99,
    ),
  ]
}

async function loopDelay(store: Committing, cases: readonly (readonly StepRecord[])[]): Promise<number> {
  const delay = monitorEventLoopDelay({ resolution: 1 })
  delay.enable()
  await run(store, cases, LOADED_IN_FLIGHT)
  delay.disable()
  return delay.percentile(99) / 1e6
}

/** The least that a durable write can be here: one short row, one transaction, one flush. */
function bareInserts(file: string) {
  const db = new DatabaseSync(file)
  db.exec('PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE row (id INTEGER PRIMARY KEY, text TEXT)')
  const insert = db.prepare('INSERT INTO row (text) VALUES (?)')
  const text = 'x'.repeat(100)
  return {
    run(rows: number): number {
      const started = performance.now()
      for (let row = 0; row < rows; row += 1) insert.run(text)
      return (rows * 1_000) / (performance.now() - started)
    },
    close: () => db.close(),
  }
}

/** While `work` runs, every commit takes {@link FLUSH_MS} longer, as on a disk that takes that long to flush. */
async function withSlowFlush<T>(work: () => Promise<T>): Promise<T> {
  const never = new Int32Array(new SharedArrayBuffer(4))
  let waited = 0
  const wait = (point: unknown) => {
    if (point !== ('store.before-commit' satisfies Point)) return
    waited += 1
    Atomics.wait(never, 0, 0, FLUSH_MS)
  }
  subscribe(POINT_CHANNEL, wait)
  const result = await work().finally(() => unsubscribe(POINT_CHANNEL, wait))
  if (waited === 0)
    throw new Error('measure: no commit passed the point store.before-commit; no slow flush was imitated')
  return result
}
