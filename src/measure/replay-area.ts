import { createHash } from 'node:crypto'
import { createRequire } from 'node:module'
import { memoryUsage } from 'node:process'
import type { Answer } from '../case/answer.ts'
import { InvariantBroken, type Line } from '../case/line.ts'
import { type CaseState, openCase } from '../case/state.ts'
import { step } from '../case/step.ts'
import { canonicalText } from '../flow/content.ts'
import type { Flow } from '../flow/flow-set.ts'
import type { KernelEvent, KernelState } from '../flow/kernel.ts'
import { lineWriter } from '../replay/chain.ts'
import { editionOf } from '../replay/edition.ts'
import { KEEPS_ALL } from '../replay/names.ts'
import { type RecordedCase, readingOf } from '../replay/reading.ts'
import { caseLines, type StoredStep } from '../replay/record.ts'
import { type Around, replayed } from '../replay/run.ts'
import { onTables } from '../replay/table-kernel.ts'
import { TRANSCRIPT_VERSION } from '../replay/transcript.ts'
import type { Random } from '../runtime/clock.ts'
import { type Instant, instant, minutes } from '../time/instant.ts'
import { onTransition } from './documented-kernel.ts'
import { figureOf, type Measured, ratios } from './figure.ts'
import { interleaved } from './rounds.ts'
import { seeded } from './seeded.ts'
import type { AreaContext } from './subject.ts'

const CASES = 150
const SEED = 20_261_130
const AT = instant(Date.UTC(2026, 2, 1, 7, 10))
/** Cases of the run that shows whether memory grows, and how often it is looked at. */
const LONG = 6_000
const LOOK_EVERY = 20

/** Recorded cases run again: on tables beside XState's documented way, what of it is parsing, and whether memory grows. */
export async function replayArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const { line } = subject
  const peer = `xstate ${(createRequire(import.meta.url)('xstate/package.json') as { version: string }).version} transition()`
  const random = seeded(SEED)
  const cases = Array.from({ length: CASES }, (_, index) => drawnCase(line, random, index))
  const lines = transcriptOf(line, cases)
  const recorded = readAll(lines)
  const tables: Line = { ...line, flows: onTables(line.flows) }
  const documented: Line = { ...line, flows: onTransition(line.flows) }
  const calls = kernelCalls(line, recorded)
  const steps = recorded.reduce((sum, one) => sum + one.steps.length, 0)

  const perSecond = (count: number, work: () => void) => () => {
    const started = performance.now()
    work()
    return (count * 1_000) / (performance.now() - started)
  }
  const rates = await interleaved(
    {
      tables: perSecond(steps, () => again(recorded, tables)),
      documented: perSecond(steps, () => again(recorded, documented)),
      kernelTables: perSecond(calls.length, () => stepAll(tables, calls)),
      kernelDocumented: perSecond(calls.length, () => stepAll(documented, calls)),
      read: perSecond(steps, () => void readAll(lines)),
      parsed: perSecond(steps, () => {
        for (const text of lines) JSON.parse(text)
      }),
    },
    { what: 'replay', progress, rounds: 9 },
  )
  const shared = { area: 'replay', unit: 'times', bound: 'least', against: peer } as const
  const whole = rates.read.map((read, round) => 1 / (1 / read + 1 / (rates.tables[round] ?? Number.NaN)))
  return [
    figureOf(
      { ...shared, name: 'recorded steps a second, shell on tables beside the same shell', target: 10 },
      ratios(rates.tables, rates.documented),
    ),
    figureOf(
      { ...shared, name: 'kernel steps a second on tables', target: 25 },
      ratios(rates.kernelTables, rates.kernelDocumented),
    ),
    figureOf(
      {
        area: 'replay',
        name: 'share of parsing JSON in reading, checking the chain and replaying',
        unit: 'percent',
        bound: 'most',
        target: 50,
        against: `${CASES} drawn cases of ${steps} steps; more would mean that the format is the limit`,
      },
      whole.map((rate, round) => (100 * rate) / (rates.parsed[round] ?? Number.NaN)),
    ),
    figureOf(
      {
        area: 'replay',
        name: 'memory held in the last third of a long file',
        unit: 'times',
        bound: 'most',
        target: 1.25,
        against: `its first third; ${LONG} cases are read and replayed`,
      },
      [memoryGrowth(line, tables, cases)],
    ),
  ]
}

const hash = (text: string): string => createHash('sha256').update(text).digest('hex')

const NO_ONE_ELSE: Around = {
  carried: new Set(),
  park: () => [],
  stepParked: () => {
    throw new InvariantBroken('no case of this measurement is parked')
  },
}

interface Drawn {
  readonly concern: string
  readonly steps: readonly StoredStep[]
}

/** A case of a drawn concern in which a family answers what is asked, with what is drawn, for a while. */
function drawnCase(line: Line, random: Random, index: number): Drawn {
  const concerns = [...line.flows.flows.keys()]
  const concern = concerns[random.int(concerns.length)] ?? 'someone'
  let at: Instant = AT
  let state: CaseState = openCase(line, {
    ...{ caseId: nameOf(index), chat: { channel: 'web', chat: `f-${index}` }, at, code: '', concern },
  })
  const steps: StoredStep[] = []
  const does = (event: StoredStep['event']) => {
    const next = step(line, state, event, at)
    steps.push({ seq: steps.length + 1, at, event, effects: next.effects })
    state = next.state
    at = instant(at + minutes(1))
  }
  does({ kind: 'caseOpened', concern, said: '' })
  for (let count = 0; count < 20; count += 1) {
    const { open } = state
    if (open === undefined || open.readBack !== undefined) break
    does({
      kind: 'answerGiven',
      serial: open.serial,
      fact: open.fact,
      answer: drawnAnswer(line, open.fact, random),
      said: '',
    })
  }
  return { concern, steps }
}

function drawnAnswer(line: Line, fact: string, random: Random): Answer {
  const document = line.flows.facts[fact]
  const values = document?.values ?? []
  const value = values[random.int(Math.max(1, values.length))]
  if (value === undefined || fact === 'danger-signs') return { kind: 'unsure' }
  return document?.kind === 'many' ? { kind: 'many', values: [value] } : { kind: 'choice', value }
}

const nameOf = (index: number): string => `c-${String(index).padStart(8, '0')}`

function* linesOf(line: Line, cases: readonly Drawn[], count = cases.length): Generator<string> {
  const writer = lineWriter(hash)
  const content = JSON.parse(JSON.stringify(editionOf(line, KEEPS_ALL)))
  const edition = hash(canonicalText(content))
  const kept = ['words', 'names', 'numbers'] as const
  yield writer.write({
    ...{ kind: 'transcript', version: TRANSCRIPT_VERSION, madeAt: AT, software: 'measure', kept: [...kept] },
    purpose: 'a measurement',
  })
  yield writer.write({ kind: 'edition', edition, content })
  let steps = 0
  for (let index = 0; index < count; index += 1) {
    const drawn = cases[index % cases.length]
    if (drawn === undefined) break
    const names = { ...KEEPS_ALL, caseId: nameOf(index) }
    const keeping = { names, keepsNames: false, keepsTexts: false, editionAt: () => edition }
    const stored = { channel: 'web', chat: `f-${index}`, closed: false, steps: drawn.steps, sent: [] }
    for (const one of caseLines(stored, keeping)) yield writer.write(one)
    steps += drawn.steps.length
  }
  yield writer.write({ kind: 'end', cases: count, steps })
}

const transcriptOf = (line: Line, cases: readonly Drawn[]): readonly string[] => [...linesOf(line, cases)]

const reader = () => readingOf({ hash, now: instant(AT + minutes(60 * 24)), canonical: canonicalText })

function readAll(lines: readonly string[]): readonly RecordedCase[] {
  const reading = reader()
  const whole = [...lines.map(text => reading.take(text)), reading.end()].flatMap(read => {
    if (read.faults.length > 0) throw new InvariantBroken(read.faults[0]?.found ?? 'a fault')
    return read.whole ?? []
  })
  return whole
}

function again(recorded: readonly RecordedCase[], line: Line): void {
  for (const one of recorded)
    if (replayed(one, () => line, NO_ONE_ELSE).kind !== 'same') throw new InvariantBroken('a case decides otherwise')
}

interface Call {
  readonly concern: string
  readonly state: KernelState
  readonly event: KernelEvent
}

/** What the shell asks of the kernel in these cases. */
function kernelCalls(line: Line, recorded: readonly RecordedCase[]): readonly Call[] {
  const calls: Call[] = []
  const listening = ([concern, flow]: [string, Flow]): [string, Flow] => [
    concern,
    {
      ...flow,
      kernel: {
        ...flow.kernel,
        step(state, event) {
          calls.push({ concern, state, event })
          return flow.kernel.step(state, event)
        },
      },
    },
  ]
  again(recorded, { ...line, flows: { ...line.flows, flows: new Map([...line.flows.flows].map(listening)) } })
  return calls
}

function stepAll({ flows }: Line, calls: readonly Call[]): void {
  for (const { concern, state, event } of calls) flows.flows.get(concern)?.kernel.step(state, event)
}

/** The least heap held in the last third of a long file over the least in its first: what collecting leaves. */
function memoryGrowth(line: Line, tables: Line, cases: readonly Drawn[]): number {
  const reading = reader()
  const held: number[] = []
  let done = 0
  for (const text of linesOf(line, cases, LONG)) {
    const { whole } = reading.take(text)
    if (whole === undefined) continue
    replayed(whole, () => tables, NO_ONE_ELSE)
    done += 1
    if (done % LOOK_EVERY === 0) held.push(memoryUsage().heapUsed)
  }
  const third = Math.floor(held.length / 3)
  return Math.min(...held.slice(-third)) / Math.min(...held.slice(0, third))
}
