/**
 * Cases judged on every core, told in the order in which they are read. The chain of a file can only be followed by one: this core reads
 * it, and helpers run what it has read.
 */
import { Worker } from 'node:worker_threads'
import type { ReadSoFar, RecordedCase } from '../replay/reading.ts'
import type { EditionLine, FlowsLine, TranscriptHead } from '../replay/transcript.ts'
import { judged, type Verdict, verdictOf } from '../replay/what-if.ts'
import { AROUND } from './replay-around.ts'
import type { LinesOfCase, WhatIfAsked } from './what-if-lines.ts'

/** A recorded case with the lines it is to be judged on. */
export interface Posed {
  readonly recorded: RecordedCase
  readonly file: ReadSoFar
  readonly lines: LinesOfCase
}

export interface Answered {
  readonly posed: Posed
  readonly verdict: Verdict
}

/** What a helper is sent: what its file has told since the last time, then the cases, as JSON. */
export interface HelperBatch {
  readonly number: number
  /** A file that was not read from before. */
  readonly isOther: boolean
  readonly head: TranscriptHead | undefined
  readonly editions: readonly (readonly [string, EditionLine])[]
  readonly flows: readonly (readonly [string, FlowsLine])[]
  readonly cases: string
}

export interface HelperVerdicts {
  readonly number: number
  readonly verdicts: readonly Verdict[]
}

/** Cases handed over at once: few enough that none waits long, enough that handing over costs little. */
const BATCH = 32
/** Batches that wait or are worked on, for each helper. */
const AHEAD = 4

export const judgedHere = ({ recorded, lines }: Posed): Verdict =>
  verdictOf(judged(recorded, lines.was, lines.other, AROUND))

export async function* judgedAlone(cases: AsyncIterable<Posed>): AsyncGenerator<Answered> {
  for await (const posed of cases) yield { posed, verdict: judgedHere(posed) }
}

interface Waiting {
  readonly batch: readonly Posed[]
  readonly verdicts: Promise<readonly Verdict[] | undefined>
}

/** @param count  helpers that are started */
export async function* judgedTogether(
  cases: AsyncIterable<Posed>,
  asked: WhatIfAsked,
  count: number,
): AsyncGenerator<Answered> {
  const helpers = Array.from({ length: count }, () => helperOf(asked))
  const waiting: Waiting[] = []
  const hand = (batch: readonly Posed[]) => {
    const helper = helpers.reduce((freest, one) => (one.waiting < freest.waiting ? one : freest))
    waiting.push({ batch, verdicts: helper.judge(batch) })
  }
  async function* told(most: number) {
    while (waiting.length > most) {
      const { batch, verdicts } = waiting.shift() as Waiting
      // A helper that failed leaves its cases to be judged here: it costs time, and no case.
      const found = (await verdicts) ?? batch.map(judgedHere)
      for (const [index, posed] of batch.entries()) yield { posed, verdict: found[index] ?? judgedHere(posed) }
    }
  }
  try {
    let batch: Posed[] = []
    for await (const posed of cases) {
      if (batch.length === BATCH || (batch.length > 0 && batch[0]?.file !== posed.file)) {
        hand(batch)
        batch = []
        yield* told(count * AHEAD)
      }
      batch.push(posed)
    }
    if (batch.length > 0) hand(batch)
    yield* told(0)
  } finally {
    await Promise.all(helpers.map(helper => helper.end()))
  }
}

interface Helper {
  /** Batches that it has not answered yet. */
  readonly waiting: number
  /** The verdicts on cases of one file; undefined where the helper has failed. */
  judge(batch: readonly Posed[]): Promise<readonly Verdict[] | undefined>
  end(): Promise<unknown>
}

function helperOf(asked: WhatIfAsked): Helper {
  const worker = new Worker(new URL('./what-if-helper.ts', import.meta.url), { workerData: asked })
  const answers = new Map<number, (verdicts: readonly Verdict[] | undefined) => void>()
  let number = 0
  let file: ReadSoFar | undefined
  let sent = { editions: 0, flows: 0 }
  let isGone = false
  worker.on('message', ({ number: of, verdicts }: HelperVerdicts) => {
    answers.get(of)?.(verdicts)
    answers.delete(of)
  })
  const gone = () => {
    isGone = true
    for (const answer of answers.values()) answer(undefined)
    answers.clear()
  }
  worker.on('error', gone)
  worker.on('exit', gone)
  return {
    get waiting() {
      return isGone ? Number.MAX_SAFE_INTEGER : answers.size
    },
    judge(batch) {
      const [first] = batch
      if (isGone || first === undefined) return Promise.resolve(undefined)
      const isOther = first.file !== file
      if (isOther) sent = { editions: 0, flows: 0 }
      file = first.file
      const { head, editions, flows } = file
      number += 1
      worker.postMessage({
        ...{ number, isOther, head },
        editions: [...editions].slice(sent.editions),
        flows: [...flows].slice(sent.flows),
        // What was sent decides nothing.
        cases: JSON.stringify(batch.map(({ recorded }) => ({ ...recorded, sent: [] }))),
      } satisfies HelperBatch)
      sent = { editions: editions.size, flows: flows.size }
      return new Promise(resolve => answers.set(number, resolve))
    },
    end: () => worker.terminate(),
  }
}
