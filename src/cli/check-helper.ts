/** Walks flows for a check on a core of its own: takes run after run that nobody has taken, and sends what it found. */
import { parentPort, workerData } from 'node:worker_threads'
import { rulesChosen, walkRun } from '../modelcheck/rules/check-flows.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { planOf } from './check-run.ts'
import type { HelperAnswer, HelperTask } from './check-together.ts'

const { request, keys, taken } = workerData as HelperTask
const clock = systemClock()
const { walk } = planOf({ ...request, now: () => clock.monotonicMs() })
if (walk !== undefined) {
  const { kept, options, loaded } = walk
  const rules = rulesChosen(walk.rules, options)
  const runs = new Map(walk.runs.map(run => [kept.keyOf(run), run]))
  const count = new Int32Array(taken)
  for (let at = Atomics.add(count, 0, 1); at < keys.length; at = Atomics.add(count, 0, 1)) {
    const key = keys[at] ?? ''
    const run = runs.get(key)
    // A file has changed since: whoever asked walks it by what it has read.
    if (run === undefined) continue
    const check = walkRun(run, loaded.line.flows, rules, options, () => {})
    kept.keep(run, check)
    parentPort?.postMessage({ key, check } satisfies HelperAnswer)
  }
}
