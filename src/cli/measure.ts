import { execFileSync } from 'node:child_process'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { cpus, platform } from 'node:os'
import { AREAS } from '../measure/areas.ts'
import { exitCodeOf, type Measured, publicFigure, rounded, shareOfTarget } from '../measure/figure.ts'
import { newGround } from '../measure/ground.ts'
import { lineProgress } from '../measure/progress.ts'
import { missedText, tableOf } from '../measure/table.ts'
import { systemClock } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { measuredSubject } from './measure-subject.ts'

const NAMES = Object.keys(AREAS)

export const measureCommand: Command = {
  name: 'measure',
  summary: 'measures speed and memory on this machine, each beside a peer; exit 1 when one falls far below its target',
  usage: [
    'smallhours measure [--only AREA] [--json] [--write FILE]',
    `  --only AREA    one of ${NAMES.join(', ')}; may be given again`,
    '  --json         one JSON document: area, name, value, unit, target, reached, against',
    '  --write FILE   the figures with date, commit, machine and Node version, as JSON; figures of other areas stay in it',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      only: { type: 'string', multiple: true, default: [] },
      json: { type: 'boolean', default: false },
      write: { type: 'string' },
    })
    const wrong = [...positionals, ...values.only.filter(name => !Object.hasOwn(AREAS, name))]
    if (wrong.length > 0)
      throw new CalledWrongly(
        `there is nothing to measure called "${wrong.join('", "')}"; there is ${NAMES.join(', ')}`,
      )
    const chosen = NAMES.filter(name => values.only.length === 0 || values.only.includes(name))
    const startedAt = systemClock().now()
    const figures = await measured(chosen)
    if (values.write !== undefined) writeFigures(values.write, figures, startedAt)
    print(values.json ? JSON.stringify(figures.map(publicFigure), null, 2) : tableOf(figures))
    const missed = missedText(figures)
    if (missed !== undefined) complain(missed)
    return exitCodeOf(figures)
  },
}

async function measured(names: readonly string[]): Promise<readonly Measured[]> {
  const ground = newGround()
  const subject = measuredSubject()
  const progress = lineProgress(complain, () => performance.now())
  const figures: Measured[] = []
  try {
    for (const [place, name] of names.entries()) {
      progress.says(`${name} (${place + 1} of ${names.length})`)
      figures.push(...((await AREAS[name]?.({ subject, ground, progress })) ?? []))
    }
  } finally {
    ground.clear()
  }
  return figures
}

/** What is kept of a run: every figure with its range, when and of what it was measured; those of areas not measured now stay. */
function writeFigures(file: string, figures: readonly Measured[], startedAt: Instant): void {
  const run = { measuredAt: new Date(startedAt).toISOString(), commit: commitNow() }
  const areas = new Set(figures.map(({ area }) => area))
  const before = existsSync(file)
    ? (JSON.parse(readFileSync(file, 'utf8')) as { figures: readonly { area: string }[] })
    : undefined
  const kept = before?.figures.filter(({ area }) => !areas.has(area)) ?? []
  const order = ({ area }: { readonly area: string }) => NAMES.indexOf(area)
  const all = [...kept, ...documentOf(figures, run)].toSorted((a, b) => order(a) - order(b))
  const machine = `${platform()}, ${cpus().length} processors (${cpus()[0]?.model ?? 'unknown'})`
  writeFileSync(file, `${JSON.stringify({ node: process.version, machine, figures: all }, null, 2)}\n`)
}

function documentOf(figures: readonly Measured[], run: { readonly measuredAt: string; readonly commit: string }) {
  return figures.map(figure => ({
    ...publicFigure(figure),
    ...run,
    bound: figure.bound,
    lowest: rounded(figure.lowest),
    highest: rounded(figure.highest),
    rounds: figure.rounds,
    shareOfTarget: rounded(Math.min(shareOfTarget(figure), 1_000)),
  }))
}

/** The commit that was measured, marked when files differ from it; `unknown` outside a clone. */
function commitNow(): string {
  try {
    const git = (...args: string[]) =>
      execFileSync('git', args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).trim()
    const changed = git('status', '--porcelain', '--untracked-files=no', '--', 'src', 'flows') !== ''
    return `${git('rev-parse', '--short=12', 'HEAD')}${changed ? ' with changes' : ''}`
  } catch {
    return 'unknown'
  }
}
