import { existsSync, readdirSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import { canonicalText } from '../flow/content.ts'
import { editionIn, lineOfEdition } from '../replay/edition.ts'
import type { ReadSoFar, RecordedCase } from '../replay/reading.ts'
import { openedFrom, type Replayed, replayed } from '../replay/run.ts'
import { onTables } from '../replay/table-kernel.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { instant } from '../time/instant.ts'
import { argumentsOf, CalledWrongly, type Command, complain, countText, print, wholeNumber } from './command.ts'
import { decidedLines, happenedLine } from './conversation-text.ts'
import { type FlowShelf, flowShelf, type ShelvedFlows } from './flow-shelf.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from './load-line.ts'
import { folderSaid } from './places-said.ts'
import { reportProblems } from './problems.ts'
import { AROUND } from './replay-around.ts'
import { faultText, told } from './transcript-file.ts'

/** Differences that are shown: as many as the cases of the largest file. */
const SHOWN_MOST = 1_000_000

export const replayCommand: Command = {
  name: 'replay',
  summary: 'runs recorded cases again through the same step: every decision must be the recorded one, to the byte',
  usage: [
    'smallhours replay FILES… [--flows FOLDER] [--clinic FOLDER] [--data FOLDER] [--fast] [--any-flow] [--most NUMBER] [--json]',
    '    The flow of each case is found by its hash: in the file, among the flows as they are, in the data folder.',
    '    --any-flow: on the flows as they are, whatever a case was opened under: each case that they decide otherwise is told.',
    '    --fast walks tables in place of the machine. --most: differences shown, 10 unless said. A folder: its transcripts.',
    '    0: every case decided the same; 1: one did not, or a file is not as it was written, or a flow was not found.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      data: { type: 'string' },
      fast: { type: 'boolean', default: false },
      'any-flow': { type: 'boolean', default: false },
      most: { type: 'string', default: '10' },
      json: { type: 'boolean', default: false },
    })
    const files = filesIn(positionals)
    const most = wholeNumber('--most', values.most, 0, SHOWN_MOST)
    if (values.data !== undefined) folderSaid('--data', values.data)
    const loaded = readLine(values.clinic, values.flows)
    if (loaded === undefined) return 1
    const shelf = flowShelf(
      { loaded, ...(values.data === undefined ? {} : { data: values.data }) },
      values.fast ? onTables : set => set,
    )
    const report = await replayFiles(files, values['any-flow'] ? ofAnyHash(shelf) : shelf, most, values.json)
    if (values.json) print(JSON.stringify(report))
    else print(summaryOf(report))
    return report.differing + report.faults + report.withoutFlow === 0 ? 0 : 1
  },
}

/** Transcripts named on the command line; a folder stands for those in it. */
export function filesIn(named: readonly string[]): readonly string[] {
  if (named.length === 0) throw new CalledWrongly('a transcript was expected: see "smallhours transcript export"')
  return named.flatMap(path => {
    if (!existsSync(path)) throw new CalledWrongly(`${path}: there is no such file`)
    if (!statSync(path).isDirectory()) return [path]
    const found = readdirSync(path)
      .filter(name => /\.jsonl(?:\.gz)?$/.test(name))
      .toSorted()
    if (found.length === 0) throw new CalledWrongly(`${path}: no transcript (.jsonl or .jsonl.gz) is in it`)
    return found.map(name => join(path, name))
  })
}

export function readLine(clinicDir: string, flowsDir: string | undefined): LoadedLine | undefined {
  const at = systemClock().now()
  const { loaded, problems } = loadLine({ clinicDir, at, ...(flowsDir === undefined ? {} : { flowsDir }) })
  if (loaded === undefined) reportProblems(problems)
  return loaded
}

/** Gives the flow of a concern as it is now. */
const ofAnyHash = (shelf: FlowShelf): FlowShelf => ({
  of: concern => shelf.of(concern, undefined),
  bring: () => undefined,
})

interface Difference {
  readonly file: string
  readonly case: string
  readonly seq: number
  readonly broken?: string
  readonly recorded: unknown
  readonly now: unknown
}

interface ReplayReport {
  cases: number
  steps: number
  same: number
  differing: number
  parked: number
  withoutFlow: number
  leftOut: number
  faults: number
  readonly differences: Difference[]
}

const PROGRESS_EVERY = 10_000

async function replayFiles(
  files: readonly string[],
  shelf: FlowShelf,
  most: number,
  isJson: boolean,
): Promise<ReplayReport> {
  const report: ReplayReport = {
    ...{ cases: 0, steps: 0, same: 0, differing: 0, parked: 0, withoutFlow: 0, leftOut: 0, faults: 0 },
    differences: [],
  }
  for await (const { file, reading, faults, whole, leftOut } of told(files, systemClock().now())) {
    for (const fault of faults) complain(faultText(file, fault))
    report.faults += faults.length
    report.leftOut += leftOut
    if (whole === undefined) continue
    report.cases += 1
    report.steps += whole.steps.length
    if (report.cases % PROGRESS_EVERY === 0) complain(`${report.cases.toLocaleString('en')} cases`)
    const flows = flowsFor(whole, reading, shelf, fault => complain(`${file}: ${fault}`))
    if (flows === undefined) {
      report.withoutFlow += 1
      if (report.withoutFlow <= most) complain(`${file}: ${whole.head.case}: ${withoutFlow(whole)}`)
      continue
    }
    const lineAt = linesOf(reading, flows)
    const result = replayed(whole, lineAt, AROUND)
    if (result.kind === 'same') {
      report.same += 1
      if (result.parkedAt !== undefined) report.parked += 1
      continue
    }
    report.differing += 1
    if (report.differing > most) continue
    report.differences.push(differenceOf(file, whole, result))
    if (!isJson) print(differenceText(file, whole, result, lineAt))
  }
  return report
}

/** The flows a case was opened under; those that the file brings are read only where they are not here. */
export function flowsFor(
  { head }: RecordedCase,
  reading: Pick<ReadSoFar, 'flows'>,
  shelf: FlowShelf,
  onFault: (found: string) => void,
): ShelvedFlows | undefined {
  const here = shelf.of(head.concern, head.flow)
  if (here !== undefined) return here
  for (const [id, { content }] of reading.flows) {
    const wrong = shelf.bring(id, content)
    if (wrong !== undefined) onFault(`the flows it brings cannot be used: ${wrong}`)
  }
  return shelf.of(head.concern, head.flow)
}

export const withoutFlow = ({ head }: RecordedCase): string =>
  `the flow "${head.concern}" ${head.flow?.slice(0, 12) ?? ''} it was opened under is not here: export with --with-flows, or name the data folder with --data`

/** The line of each edition of a file, made once. */
export function linesOf(reading: ReadSoFar, { set, hashes }: ShelvedFlows): (edition: string) => Line {
  let made = LINES.get(reading)
  if (made === undefined) {
    made = new Map()
    LINES.set(reading, made)
  }
  const lines = made
  return edition => {
    const known = lines.get(set)?.get(edition)
    if (known !== undefined) return known
    const line = reading.editions.get(edition)
    if (line === undefined) throw new Error(`edition ${edition} was looked for before it was read`)
    const fresh = lineOfEdition(editionIn(line), set, hashes)
    lines.set(set, (lines.get(set) ?? new Map<string, Line>()).set(edition, fresh))
    return fresh
  }
}

const LINES = new WeakMap<ReadSoFar, Map<object, Map<string, Line>>>()

const differenceOf = (file: string, { head }: RecordedCase, result: Replayed & { kind: 'differs' }): Difference => ({
  file,
  case: head.case,
  seq: result.seq,
  ...(result.broken === undefined ? {} : { broken: result.broken }),
  recorded: result.recorded,
  now: result.now ?? null,
})

/** The conversation up to the first step that differs, then both decisions. */
function differenceText(
  file: string,
  recorded: RecordedCase,
  result: Replayed & { kind: 'differs' },
  lineAt: (edition: string) => Line,
): string {
  const lines = [`${file}: case ${recorded.head.case} decides something else at step ${result.seq}:`, '']
  const first = recorded.steps[0]
  if (first === undefined) return lines.join('\n')
  let state = openedFrom(lineAt(first.edition), recorded.head)
  replayed(recorded, lineAt, AROUND, (step, effects, after) => {
    const line = lineAt(step.edition)
    const at = instant(step.at)
    lines.push(`${clockOf(line, at)}  ${happenedLine(line, state, step.event, at)}`)
    if (step.seq < result.seq) lines.push(...decidedLines(line, after, effects, at).map(text => `    ${text}`))
    else {
      const shown = after ?? state
      const was = decidedLines(line, shown, result.recorded, at)
      const now =
        result.now === undefined ? [`BREAKS: ${result.broken ?? ''}`] : decidedLines(line, shown, result.now, at)
      lines.push('    recorded:', ...was.map(text => `      ${text}`), '    now:', ...now.map(text => `      ${text}`))
      const isSameText = canonicalText(was) === canonicalText(now)
      if (isSameText) lines.push('    (the same words; the difference is in what stands behind them: see --json)')
    }
    state = after ?? state
  })
  return `${lines.join('\n')}\n`
}

function summaryOf(report: ReplayReport): string {
  const { cases, steps, same, differing, parked, withoutFlow: lacking, leftOut } = report
  const lines = [
    cases === 0
      ? 'No case could be read: nothing was run again.'
      : `${countText(cases, 'case')}, ${countText(steps, 'step')}: ${same} decided the same, ${differing} not.`,
    ...(parked > 0 ? [`Handed to people on the way, then as now: ${countText(parked, 'case')}.`] : []),
    ...(lacking > 0 ? [`Not run, their flow is not here: ${countText(lacking, 'case')}.`] : []),
    ...(leftOut > 0 ? [`Left out, see the lines above: ${countText(leftOut, 'case')}.`] : []),
  ]
  return lines.join('\n')
}
