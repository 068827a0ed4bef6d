/** A check that uses every core: flows are taken one by one, the largest first, by whoever is free. */
import { availableParallelism } from 'node:os'
import { Worker } from 'node:worker_threads'
import type { FlowCheck } from '../modelcheck/rules/check-flow.ts'
import { type CheckRun, rulesChosen, walkRun } from '../modelcheck/rules/check-flows.ts'
import { type Checked, type CheckPlan, type CheckRequest, type CheckWalk, planOf, runCheck } from './check-run.ts'

/** What a helper is started with. It reads the files by itself, since a compiled flow cannot be handed over. */
export interface HelperTask {
  readonly request: Omit<CheckRequest, 'now' | 'onProgress'>
  /** Keys of the runs that are to be walked, in the order in which they are taken. */
  readonly keys: readonly string[]
  /** How many of them have been taken. */
  readonly taken: SharedArrayBuffer
}

/** What a helper sends for each run. */
export interface HelperAnswer {
  readonly key: string
  readonly check: FlowCheck
}

export async function checkTogether(request: CheckRequest): Promise<Checked> {
  const plan = planOf(request)
  return runCheck(request, plan, plan.walk === undefined ? new Map() : await walkTogether(request, plan.walk))
}

async function walkTogether(
  request: CheckRequest,
  walk: NonNullable<CheckPlan['walk']>,
): Promise<Map<string, FlowCheck>> {
  const { kept } = walk
  const open = walk.runs
    .filter(run => kept.keyOf(run) !== undefined && (request.isAfresh === true || kept.find(run) === undefined))
    .toSorted((a, b) => b.flow.steps.size - a.flow.steps.size)
  const walked = new Map<string, FlowCheck>()
  const helpers = Math.min(availableParallelism(), open.length) - 1
  if (helpers < 1) return walked
  const keys = open.map(run => kept.keyOf(run) ?? '')
  const taken = new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT)
  const { now: _now, onProgress: _onProgress, ...plain } = request
  const task: HelperTask = { request: plain, keys, taken }
  const ended = Array.from({ length: helpers }, () => helped(task, walked))
  walkOwn(request, walk, open, new Int32Array(taken), walked)
  await Promise.all(ended)
  return walked
}

/** A helper that fails leaves its runs to be walked here: it costs time, and no verdict. */
function helped(task: HelperTask, walked: Map<string, FlowCheck>): Promise<void> {
  const helper = new Worker(new URL('./check-helper.ts', import.meta.url), { workerData: task })
  helper.on('message', ({ key, check }: HelperAnswer) => walked.set(key, check))
  return new Promise(resolve => {
    helper.on('error', () => resolve())
    helper.on('exit', () => resolve())
  })
}

function walkOwn(
  request: CheckRequest,
  walk: CheckWalk,
  open: readonly CheckRun[],
  taken: Int32Array,
  walked: Map<string, FlowCheck>,
): void {
  const rules = rulesChosen(walk.rules, walk.options)
  for (let at = Atomics.add(taken, 0, 1); at < open.length; at = Atomics.add(taken, 0, 1)) {
    const run = open[at] as CheckRun
    const progress = (states: number, looked: number) =>
      request.onProgress?.({
        flow: run.flow.concern,
        policies: run.policies,
        done: at,
        of: open.length,
        states,
        looked,
      })
    const check = walkRun(run, walk.loaded.line.flows, rules, walk.options, progress)
    walk.kept.keep(run, check)
    walked.set(walk.kept.keyOf(run) ?? '', check)
  }
}
