/** Walks on a core of its own, for a check: takes one thing after another that nobody has taken, and sends what it found. */
import { enableCompileCache } from 'node:module'
import { parentPort, workerData } from 'node:worker_threads'
import type { HelperAnswer, HelperTask, ToWalk } from './check-together.ts'

const { request, taken, compiled } = workerData as HelperTask
// Before the rest is loaded: a thread does not take over by itself where compiled code is kept.
if (compiled !== undefined) enableCompileCache(compiled)
const { planOf } = await import('./check-run.ts')
const { takeInTurn, thingsIn } = await import('./check-together.ts')
const { systemClock } = await import('../runtime/system-clock.ts')

const clock = systemClock()
const { walk } = planOf({ ...request, now: () => clock.monotonicMs() })

/** Comes once whoever asked has read the files, too. */
parentPort?.once('message', (toWalk: ToWalk) => {
  if (walk === undefined) return
  const things = thingsIn(walk)
  // A file has changed since: whoever asked walks what is missing here by what it has read.
  const known = toWalk.map(key => things.get(key))
  takeInTurn(taken, known, thing =>
    parentPort?.postMessage({ key: thing.key, ...thing.walk(() => {}) } satisfies HelperAnswer),
  )
})
