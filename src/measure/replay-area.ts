import { createHash } from 'node:crypto'
import { createRequire } from 'node:module'
import { cpuUsage, memoryUsage } from 'node:process'
import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { InvariantBroken, type Line } from '../case/line.ts'
import { canonicalText } from '../flow/content.ts'
import type { Flow } from '../flow/flow-set.ts'
import type { KernelEvent, KernelState } from '../flow/kernel.ts'
import { type RecordedCase, readingOf } from '../replay/reading.ts'
import { type Around, replayed } from '../replay/run.ts'
import { onTables } from '../replay/table-kernel.ts'
import { instant } from '../time/instant.ts'
import { onTransition } from './documented-kernel.ts'
import { figureOf, type Measured, ratios } from './figure.ts'
import { type ManyCases, manyCases } from './many-cases.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext } from './subject.ts'

const CASES = 150
/** After everything in the drawn year. */
const READ_AT = instant(Date.UTC(2026, 11, 31))
/** Cases of the run that shows whether memory grows, and how often it is looked at. */
const LONG = 6_000
/** Each look collects first. */
const LOOK_EVERY = 200

/** Recorded cases run again: on tables beside XState's documented way, what of it is parsing, and whether memory grows. */
export async function replayArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const { line } = subject
  const peer = `xstate ${(createRequire(import.meta.url)('xstate/package.json') as { version: string }).version} transition()`
  const many = manyCases(line, CASES)
  const lines = [...many.lines(CASES)]
  const recorded = readAll(lines)
  const tables: Line = { ...line, flows: onTables(line.flows) }
  const documented: Line = { ...line, flows: onTransition(line.flows) }
  const calls = kernelCalls(line, recorded)
  const steps = recorded.reduce((sum, one) => sum + one.steps.length, 0)

  // By processor time: what else runs on the machine then costs less of a ratio.
  const perSecond = (count: number, work: () => void) => () => {
    const { user, system } = cpuUsage()
    work()
    const spent = cpuUsage({ user, system })
    return (count * 1_000_000) / (spent.user + spent.system)
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
      [memoryGrowth(tables, many)],
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

const reader = () => readingOf({ hash, now: READ_AT, canonical: canonicalText })

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

/** Collects whatever nothing holds any more, which a run otherwise does when it likes: two runs of one reading differed twelvefold. */
function collector(): () => void {
  setFlagsFromString('--expose-gc')
  return runInNewContext('gc') as () => void
}

/** The least heap held in the last third of a long file over the least in its first, each after collecting. */
function memoryGrowth(tables: Line, many: ManyCases): number {
  const reading = reader()
  const held: number[] = []
  const collect = collector()
  let done = 0
  for (const text of many.lines(LONG)) {
    const { whole } = reading.take(text)
    if (whole === undefined) continue
    replayed(whole, () => tables, NO_ONE_ELSE)
    done += 1
    if (done % LOOK_EVERY !== 0) continue
    collect()
    held.push(memoryUsage().heapUsed)
  }
  const third = Math.floor(held.length / 3)
  return Math.min(...held.slice(-third)) / Math.min(...held.slice(0, third))
}
