/** Whole cases of a transcript under a chain of their own: one case in memory at a time, gone on with where it was broken off. */
import { join } from 'node:path'
import { lineWriter } from '../replay/chain.ts'
import type { NewLine } from '../replay/transcript.ts'
import { sha256, systemClock } from '../runtime/system-clock.ts'
import { CalledWrongly, complain } from './command.ts'
import { faultText, goneOn, partOf, told, type WholeFile, wholeFile } from './transcript-file.ts'

export interface Copied {
  /** Where the copy lies; undefined where nothing was taken. */
  readonly beside: string | undefined
  /** Of the copy's last line: of two states of one file, a damaged and a mended one, it is not the same. */
  readonly chain: string
  readonly cases: number
  /** Cases that were taken by an earlier run. */
  readonly before: number
  readonly leftOut: number
  readonly faults: number
}

const PROGRESS_EVERY = 10_000

/** The copy while it is written. */
interface Copying {
  readonly out: WholeFile
  put(line: object): void
  chain(): string
  /** Name of the last case that an earlier run took. */
  readonly lastCase: string
  readonly cases: number
  readonly steps: number
}

export async function copiedInto(folder: string, from: string): Promise<Copied> {
  const now = systemClock().now()
  const counted = { cases: 0, steps: 0, before: 0, leftOut: 0, faults: 0 }
  const written = new Set<string>()
  let beside: string | undefined
  let copying: Copying | undefined

  const once = (key: string, put: () => void) => {
    if (!written.has(key)) put()
    written.add(key)
  }

  try {
    for await (const { reading, faults, whole, leftOut } of told([from], now)) {
      for (const fault of faults) complain(faultText(from, fault))
      counted.faults += faults.length
      counted.leftOut += leftOut
      const { head, editions, flows } = reading
      if (whole === undefined || head === undefined) continue
      if (copying === undefined) {
        beside = join(folder, `import-${head.chain.slice(0, 16)}.jsonl`)
        copying = await begun(beside, now)
        counted.before = copying.cases
      }
      const isTaken = whole.head.case <= copying.lastCase
      if (isTaken ? counted.cases >= copying.cases : counted.cases < copying.cases)
        throw new CalledWrongly(
          `${partOf(beside ?? '')} was left by an earlier run, of another state of this file: remove it, and import anew`,
        )
      const put = isTaken ? () => {} : copying.put
      once('head', () => put(head))
      for (const [hash, line] of [...flows, ...editions]) once(hash, () => put(line))
      for (const line of [whole.head, ...whole.steps, ...whole.sent]) put(line)
      counted.cases += 1
      counted.steps += whole.steps.length
      if (counted.cases % PROGRESS_EVERY === 0) complain(`${from}: ${counted.cases.toLocaleString('en')} cases`)
    }
    copying?.put({ kind: 'end', cases: counted.cases, steps: counted.steps })
    copying?.out.finish()
  } catch (error) {
    // What is whole stands beside: the next run goes on from there.
    copying?.out.pause()
    throw error
  }
  const { cases, before, leftOut, faults } = counted
  return { beside, chain: copying?.chain() ?? '', cases, before, leftOut, faults }
}

async function begun(beside: string, now: Parameters<typeof goneOn>[1]): Promise<Copying> {
  const gone = await goneOn(beside, now)
  const out = wholeFile(beside, gone?.bytes ?? 0)
  const writer = lineWriter(sha256, gone)
  return {
    out,
    put(line) {
      const { line: _line, chain: _chain, ...rest } = line as { line?: number; chain?: string }
      out.write(`${writer.write(rest as NewLine)}\n`)
    },
    chain: () => writer.chain,
    lastCase: gone?.lastCase ?? '',
    cases: gone?.cases ?? 0,
    steps: gone?.steps ?? 0,
  }
}
