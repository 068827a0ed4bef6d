import { mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { nearestId } from '../flow/problem.ts'
import { flowPicture, type Picture, sharedPicture } from '../modelcheck/pictures/graph.ts'
import { picturePage } from '../modelcheck/pictures/page.ts'
import { type Overlay, sheetsOf } from '../modelcheck/pictures/svg.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { wayOverlay as overlayOf } from './check-pages.ts'
import { runCheck } from './check-run.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print, wholeNumber } from './command.ts'
import { SHIPPED_FLOWS } from './flow-files.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'
import { playQuietly } from './script-night.ts'
import { scriptOf, withPolicies } from './script-play.ts'
import { readVignettes } from './vignette-file.ts'
import { runVignette } from './vignette-run.ts'

/** The steps that all flows share are drawn by themselves, under this name. */
const SHARED = 'shared'

const FINDINGS_MOST = 9_999

export const drawCommand: Command = {
  name: 'draw',
  summary: 'pictures of flows for an A3 wall, with what situations or one conversation come through laid over',
  usage:
    'smallhours draw [FLOW] [--clinic FOLDER] [--flows FOLDER] [--svg | --html] [--situations FILE]… [--way SCRIPT | --finding NUMBER] [--out FOLDER]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      svg: { type: 'boolean', default: false },
      html: { type: 'boolean', default: false },
      situations: { type: 'string', multiple: true, default: [] },
      way: { type: 'string' },
      finding: { type: 'string' },
      out: { type: 'string', default: 'pictures' },
    })
    if (values.finding !== undefined) wholeNumber('--finding', values.finding, 1, FINDINGS_MOST)
    const { loaded, problems } = loadLine({
      clinicDir: values.clinic,
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
      at: systemClock().now(),
    })
    if (reportProblems(problems) || loaded === undefined) return 1
    if (values.way !== undefined && values.situations.length > 0)
      throw new CalledWrongly('either --way or --situations was expected, not both on one picture')
    const overlay =
      values.finding !== undefined
        ? findingOverlay(values, positionals[0])
        : values.way !== undefined
          ? await wayOverlay(loaded, values.way)
          : values.situations.length > 0
            ? await coverageOverlay(loaded, values.situations)
            : undefined
    if (overlay === 'unreadable') return 1
    if (overlay === 'holds') {
      print('Nothing breaks, so there is no finding to draw.')
      return 0
    }
    const names = namesFor(loaded, positionals[0])
    mkdirSync(values.out, { recursive: true })
    const isAll = values.svg === values.html
    for (const name of names) {
      for (const { file, text } of pictureFiles(loaded, name, overlay)) {
        if (!isAll && file.endsWith('.svg') !== values.svg) continue
        writeFileSync(join(values.out, file), text)
        print(join(values.out, file))
      }
    }
    return 0
  },
}

function namesFor({ line }: LoadedLine, name: string | undefined): readonly string[] {
  const all = [...line.flows.flows.keys(), SHARED]
  if (name === undefined) return all
  if (all.includes(name)) return [name]
  const nearest = nearestId(name, all)
  throw new CalledWrongly(
    `"${name}" is no flow; there are ${all.join(', ')}${nearest === undefined ? '' : `; did you mean "${nearest}"?`}`,
  )
}

export interface PictureFile {
  readonly file: string
  readonly text: string
}

/** The files of one picture: a page with all sheets, and each sheet by itself. */
export function pictureFiles({ line }: LoadedLine, name: string, overlay?: Overlay): readonly PictureFile[] {
  const picture = pictureOf(line, name)
  const sheets = sheetsOf(picture, overlay)
  return [
    { file: `${name}.html`, text: picturePage(picture.title, sheets) },
    ...sheets.map(({ number, svg }) => ({ file: `${name}-${number}.svg`, text: `${svg}\n` })),
  ]
}

function pictureOf(line: LoadedLine['line'], name: string): Picture {
  const flow = line.flows.flows.get(name)
  return flow === undefined ? sharedPicture(line.flows, line.language) : flowPicture(flow, line.flows, line.language)
}

/** In how many situations of vignette files each step was come to. */
async function coverageOverlay(loaded: LoadedLine, files: readonly string[]): Promise<Overlay | 'unreadable'> {
  const { vignettes, problems } = readVignettes(files, loaded.line)
  if (reportProblems(problems)) return 'unreadable'
  const counts = new Map<string, number>()
  for (const [index, vignette] of vignettes.entries()) {
    if (process.stderr.isTTY) process.stderr.write(`\rsituation ${index + 1} of ${vignettes.length}`)
    const { entered } = await runVignette(loaded, vignette)
    for (const step of entered) counts.set(step, (counts.get(step) ?? 0) + 1)
  }
  if (process.stderr.isTTY) complain('')
  return {
    title: `The black mark: in how many of ${vignettes.length} tried situations talk came here; pale: in none`,
    markOf: step => (counts.has(step) ? String(counts.get(step)) : undefined),
    isPale: step => !counts.has(step),
  }
}

/** The steps of the conversation that `check --flow FLOW` gives this number. */
function findingOverlay(
  values: { readonly clinic: string; readonly flows?: string | undefined; readonly finding?: string | undefined },
  flow: string | undefined,
): Overlay | 'unreadable' | 'holds' {
  if (flow === undefined) throw new CalledWrongly('--finding needs the flow that is drawn')
  const clock = systemClock()
  const checked = runCheck({
    flowsDir: values.flows ?? SHIPPED_FLOWS,
    clinicDir: values.clinic,
    at: clock.now(),
    now: () => clock.monotonicMs(),
    flows: [flow],
    policies: 'few',
  })
  if (checked.report === undefined) return reportProblems(checked.problems) ? 'unreadable' : 'holds'
  const told = checked.violations.flatMap(each => each.told ?? [])
  if (told.length === 0) return 'holds'
  const one = checked.violations[Number(values.finding) - 1]?.told
  if (one === undefined)
    throw new CalledWrongly(
      `--finding ${values.finding}: a number from 1 to ${checked.violations.length}, of a finding with a conversation, was expected`,
    )
  return overlayOf(one.steps)
}

/** The steps of one conversation, in order. */
async function wayOverlay(loaded: LoadedLine, file: string): Promise<Overlay> {
  const script = scriptOf(readFileSync(file, 'utf8'), file)
  const state = await playQuietly(withPolicies(loaded, script.policies), script)
  if (state === undefined) throw new CalledWrongly(`${file}: a script that begins a conversation was expected`)
  return overlayOf(Object.keys(state.enteredAt))
}
