/** Walks on a core of its own, for a check: takes one thing after another that nobody has taken, and sends what it found. */
import { parentPort, workerData } from 'node:worker_threads'
import { systemClock } from '../runtime/system-clock.ts'
import { planOf } from './check-run.ts'
import { type HelperAnswer, type HelperTask, type ToWalk, takeInTurn, thingsIn } from './check-together.ts'

const { request, taken } = workerData as HelperTask
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
