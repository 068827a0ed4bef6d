import { DISPOSITIONS } from '../flow/document.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'
import { readVignettes, type Vignette } from './vignette-file.ts'
import { runVignette, type VignetteRun } from './vignette-run.ts'

export interface VignetteRow {
  readonly id: string
  readonly pass: boolean
  readonly decided: string | null
  readonly advised: readonly string[]
  readonly pages: boolean
  readonly leaveBy: string | null
  readonly questions: number
  readonly failures: readonly string[]
}

export const vignettesCommand: Command = {
  name: 'vignettes',
  summary: 'runs situations with known right answers through the whole bot',
  usage: 'smallhours vignettes FILE… [--clinic FOLDER] [--flows FOLDER] [--show] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      show: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    if (positionals.length === 0) throw new CalledWrongly('a vignette file or a folder of them was expected')
    const { loaded, problems } = loadLine({
      clinicDir: values.clinic,
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
      at: systemClock().now(),
    })
    if (loaded === undefined) {
      reportProblems(problems)
      return 1
    }
    const read = readVignettes(positionals, loaded.line)
    if (reportProblems(read.problems)) {
      if (values.json) print('[]')
      return 1
    }
    const rows: VignetteRow[] = []
    for (const vignette of read.vignettes) {
      const run = await runVignette(loaded, vignette)
      const row = judged(vignette, run)
      rows.push(row)
      if (!values.json) show(row, run, values.show)
    }
    if (values.json) print(JSON.stringify(rows))
    else complain(`${rows.filter(row => row.pass).length} of ${rows.length} vignettes as expected`)
    return rows.every(row => row.pass) ? 0 : 1
  },
}

function show(row: VignetteRow, run: VignetteRun, whole: boolean): void {
  print(
    `${row.pass ? 'as expected ' : 'FALLS SHORT '} ${row.id}: ${row.decided ?? 'nothing decided'}, ${row.questions} questions${row.failures.map(failure => `\n    ${failure}`).join('')}`,
  )
  if (whole) print(run.conversation.map(line => `    ${line}`).join('\n'))
}

/** Holds a run against what its vignette expects. */
export function judged(vignette: Vignette, run: VignetteRun): VignetteRow {
  const { expect } = vignette
  const failures: string[] = []
  const wanted = expect.decides === undefined ? undefined : [expect.decides].flat()
  if (wanted !== undefined && !wanted.some(one => one === run.decided))
    failures.push(`decided ${run.decided ?? 'nothing'}; expected ${wanted.join(' or ')}`)
  if (expect['at-least'] !== undefined && rank(run.decided) > rank(expect['at-least']))
    failures.push(`decided ${run.decided ?? 'nothing'}; expected ${expect['at-least']} or more urgent`)
  for (const tag of expect.advises) if (!run.advised.includes(tag)) failures.push(`"${tag}" was not advised`)
  for (const tag of expect.never) if (run.advised.includes(tag)) failures.push(`"${tag}" was advised`)
  if (expect.pages !== undefined && expect.pages !== run.pages)
    failures.push(run.pages ? 'a page went out' : 'no page went out')
  const leaveBy = expect['leave-by']
  if (leaveBy !== undefined && minute(Date.parse(leaveBy)) !== minute(run.leaveBy))
    failures.push(
      `leave-by ${run.leaveBy === undefined ? 'not known' : new Date(run.leaveBy).toISOString()}; expected ${leaveBy}`,
    )
  const most = expect['questions-at-most']
  if (most !== undefined && run.questions > most) failures.push(`${run.questions} questions; expected at most ${most}`)
  return {
    id: vignette.id,
    pass: failures.length === 0,
    decided: run.decided ?? null,
    advised: run.advised,
    pages: run.pages,
    leaveBy: run.leaveBy === undefined ? null : new Date(run.leaveBy).toISOString(),
    questions: run.questions,
    failures,
  }
}

const rank = (disposition: string | undefined): number => {
  const index = (DISPOSITIONS as readonly (string | undefined)[]).indexOf(disposition)
  return index === -1 ? DISPOSITIONS.length : index
}
const minute = (at: number | undefined): number | undefined => (at === undefined ? undefined : Math.floor(at / 60_000))
