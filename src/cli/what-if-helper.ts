/** Judges cases for a what-if on a core of its own. It reads the flows by itself, since a compiled flow cannot be handed over. */
import { parentPort, workerData } from 'node:worker_threads'
import type { RecordedCase } from '../replay/reading.ts'
import type { EditionLine, FlowsLine, TranscriptHead } from '../replay/transcript.ts'
import { type WhatIfAsked, whatIfLines } from './what-if-lines.ts'
import { type HelperBatch, type HelperVerdicts, judgedHere } from './what-if-together.ts'

const lines = whatIfLines(workerData as WhatIfAsked)

/** What a file has told so far. */
interface FileSoFar {
  readonly head: TranscriptHead | undefined
  readonly editions: Map<string, EditionLine>
  readonly flows: Map<string, FlowsLine>
}

let file: FileSoFar = { head: undefined, editions: new Map(), flows: new Map() }

parentPort?.on('message', ({ number, isOther, head, editions, flows, cases }: HelperBatch) => {
  if (isOther) file = { head, editions: new Map(), flows: new Map() }
  for (const [id, edition] of editions) file.editions.set(id, edition)
  for (const [id, brought] of flows) file.flows.set(id, brought)
  const verdicts = (JSON.parse(cases) as readonly RecordedCase[]).map(recorded => {
    const found = lines?.flowsOf(recorded, file, () => {})
    if (lines === undefined || found === undefined)
      throw new Error('flows that were there a moment ago cannot be read: whoever asked judges by what it has read')
    return judgedHere({ recorded, file, lines: lines.of(file, found) })
  })
  parentPort?.postMessage({ number, verdicts } satisfies HelperVerdicts)
})
