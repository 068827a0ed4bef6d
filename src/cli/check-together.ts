/** A check that uses every core: flows and ladders are taken one by one, the largest first, by whoever is free. */
import { getCompileCacheDir } from 'node:module'
import { availableParallelism } from 'node:os'
import { setFlagsFromString } from 'node:v8'
import { Worker } from 'node:worker_threads'
import { LADDERS, walkLadder } from '../modelcheck/model/ladder.ts'
import type { FlowCheck } from '../modelcheck/rules/check-flow.ts'
import { type CheckRun, rulesChosen, walkRun } from '../modelcheck/rules/check-flows.ts'
import type { LadderReport } from '../modelcheck/rules/findings.ts'
import {
  type Checked,
  type CheckRequest,
  type CheckWalk,
  ladderKey,
  planOf,
  runCheck,
  type WalkedElsewhere,
} from './check-run.ts'

/** What a helper is started with. It reads the files by itself, since a compiled flow cannot be handed over. */
export interface HelperTask {
  readonly request: Omit<CheckRequest, 'now' | 'onProgress'>
  /** How many things have been taken. */
  readonly taken: SharedArrayBuffer
  /** Folder in which compiled code is kept, where it is. */
  readonly compiled: string | undefined
}

/** What a helper is sent then: keys of what is to be walked, in the order in which it is taken. */
export type ToWalk = readonly string[]

/** What a helper sends for each. */
export type HelperAnswer = { readonly key: string } & Found
type Found = { readonly check: FlowCheck } | { readonly ladder: LadderReport }

/** One flow under one setting of its policies, or one ladder. */
export interface Thing {
  readonly key: string
  /** The larger, the longer its walk, roughly. */
  readonly size: number
  readonly walk: (onProgress: (states: number, looked: number) => void) => Found
  readonly run?: CheckRun
}

/**
 * Room for new objects, megabytes: a walk makes many that are gone at once, and looking through a small room time and again costs a
 * sixth of it. Here the room grows in one go, helpers begin with it.
 */
const NEW_OBJECTS_MB = 16

export async function checkTogether(request: CheckRequest): Promise<Checked> {
  setFlagsFromString(`--semi-space-growth-factor=${NEW_OBJECTS_MB}`)
  setFlagsFromString(`--min-semi-space-size=${NEW_OBJECTS_MB}`)
  const taken = new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT)
  // Where everything is walked there is work for all: they read the files while they are read here.
  const early = request.isAfresh === true && request.flows?.length !== 1 ? helpersOf(request, taken, Infinity) : []
  const plan = planOf(request)
  const { walk } = plan
  if (walk === undefined) {
    await Promise.all(early.map(({ worker }) => worker.terminate()))
    return runCheck(request, plan)
  }
  return runCheck(request, plan, await walkTogether(request, walk, taken, early))
}

async function walkTogether(
  request: CheckRequest,
  walk: CheckWalk,
  taken: SharedArrayBuffer,
  early: readonly Helper[],
): Promise<WalkedElsewhere> {
  const open = openIn(request, walk)
  const helpers = early.length > 0 ? early : helpersOf(request, taken, open.length)
  const found = { runs: new Map<string, FlowCheck>(), ladders: new Map<string, LadderReport>() }
  const note = (key: string, one: Found) =>
    'check' in one ? found.runs.set(key, one.check) : found.ladders.set(key, one.ladder)
  for (const { worker } of helpers) {
    worker.on('message', ({ key, ...one }: HelperAnswer) => note(key, one))
    worker.postMessage(open.map(({ key }) => key) satisfies ToWalk)
  }
  if (helpers.length > 0) walkOwn(request, open, taken, note)
  await Promise.all(helpers.map(({ ended }) => ended))
  return found
}

interface Helper {
  readonly worker: Worker
  readonly ended: Promise<void>
}

/** One for each core but this one's. One that fails leaves what it took to be walked here: it costs time, and no verdict. */
function helpersOf(request: CheckRequest, taken: SharedArrayBuffer, things: number): readonly Helper[] {
  const { now: _now, onProgress: _onProgress, ...plain } = request
  const workerData: HelperTask = { request: plain, taken, compiled: getCompileCacheDir() }
  return Array.from({ length: Math.max(0, Math.min(availableParallelism(), things) - 1) }, () => {
    const worker = new Worker(new URL('./check-helper.ts', import.meta.url), { workerData })
    const ended = new Promise<void>(resolve => {
      worker.on('error', () => resolve())
      worker.on('exit', () => resolve())
    })
    return { worker, ended }
  })
}

/** What is not known from before, the largest first. */
function openIn({ isAfresh }: CheckRequest, walk: CheckWalk): readonly Thing[] {
  const { kept, ladder } = walk
  const isLadderKept = isAfresh !== true && ladder?.find() !== undefined
  return [...thingsIn(walk).values()]
    .filter(({ run }) => (run === undefined ? !isLadderKept : isAfresh === true || kept.find(run) === undefined))
    .toSorted((a, b) => b.size - a.size)
}

/** Everything that a check walks, by its key. */
export function thingsIn({ runs, kept, ladder, rules, options, loaded }: CheckWalk): ReadonlyMap<string, Thing> {
  const { line } = loaded
  const chosen = rulesChosen(rules, options)
  const flows = runs.flatMap((run): Thing[] => {
    const key = kept.keyOf(run)
    if (key === undefined) return []
    const walk: Thing['walk'] = onProgress => {
      const check = walkRun(run, line.flows, chosen, options, onProgress)
      kept.keep(run, check)
      return { check }
    }
    return [{ key, run, size: run.flow.steps.size, walk }]
  })
  const ladders = ladder === undefined ? [] : LADDERS
  const size = (people: number) => LADDER_SIZES[people] ?? 0
  return new Map(
    [
      ...flows,
      ...ladders.map(
        (which): Thing => ({
          key: ladderKey(which),
          size: size(which.people),
          walk: () => ({ ladder: walkLadder(line, which) }),
        }),
      ),
    ].map(thing => [thing.key, thing]),
  )
}

/** By the people on it, how many steps a flow has whose walk takes about as long. */
const LADDER_SIZES = [0, 40, 80, 120]

/** Takes things that nobody has taken, one by one, and passes over those not known here. */
export function takeInTurn<T>(
  taken: SharedArrayBuffer,
  things: readonly (T | undefined)[],
  each: (thing: T, at: number) => void,
): void {
  const count = new Int32Array(taken)
  for (let at = Atomics.add(count, 0, 1); at < things.length; at = Atomics.add(count, 0, 1)) {
    const thing = things[at]
    if (thing !== undefined) each(thing, at)
  }
}

function walkOwn(
  request: CheckRequest,
  open: readonly Thing[],
  taken: SharedArrayBuffer,
  note: (key: string, found: Found) => void,
): void {
  takeInTurn(taken, open, ({ key, run, walk }, at) => {
    const progress = (states: number, looked: number) =>
      request.onProgress?.({
        flow: run?.flow.concern ?? key,
        policies: run?.policies ?? {},
        done: at,
        of: open.length,
        states,
        looked,
      })
    progress(0, 0)
    note(key, walk(progress))
  })
}
