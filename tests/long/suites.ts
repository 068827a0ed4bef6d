import { execFileSync, spawn } from 'node:child_process'
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import { clusterSuite } from './cluster.ts'
import { familiesSuite } from './families.ts'
import { manySuite } from './many.ts'
import { mutantsSuite } from './mutants.ts'
import { root } from './server-process.ts'
import { spinSuite } from './spin.ts'
import { waysSuite } from './ways.ts'
import type { SuiteResult } from './world.ts'

const NAMES = ['kills', 'cluster', 'families', 'spin', 'ways', 'mutants', 'many'] as const
type Name = (typeof NAMES)[number]

interface Wanted {
  readonly names: readonly Name[]
  readonly minutes: number
  readonly families: number
  /** Of the many cases. */
  readonly cases: number
  readonly seed: string
  readonly figures: string
  /** Of the mutants: the checker walks to the end for each that nothing else notices. */
  readonly isWhole: boolean
  /** Of the mutants: only edits that show in this flow. */
  readonly flow?: string
}

const USAGE = `npm run long [-- --only ${NAMES.join('|')}] [--minutes N] [--families N] [--cases N] [--seed S] [--figures FOLDER] [--whole] [--flow CONCERN]`

/** Runs the suites asked for, one after the other; 0 when all is well, 1 when not, 2 when called wrongly. */
export async function main(words: readonly string[]): Promise<number> {
  const wanted = wantedIn(words)
  if (typeof wanted === 'string') {
    console.error(`${wanted}\n${USAGE}`)
    return 2
  }
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => process.exit(1))
  let isWell = true
  for (const name of wanted.names) {
    console.log(`\n== ${name}`)
    const tree = treeNow()
    const result = await SUITES[name](wanted)
    if (result === undefined) continue
    isWell &&= result.isWell
    for (const line of result.table) console.log(line)
    if (Object.keys(result.figures).length > 0) write(wanted, name, tree, result)
    console.log(`== ${name}: ${result.isWell ? 'every promise was kept' : 'FAILED'}`)
  }
  return isWell ? 0 : 1
}

function wantedIn(words: readonly string[]): Wanted | string {
  try {
    const { values } = parseArgs({
      args: [...words],
      options: {
        only: { type: 'string' },
        minutes: { type: 'string', default: '60' },
        families: { type: 'string', default: '50' },
        cases: { type: 'string', default: '1000000' },
        seed: { type: 'string', default: '20260301' },
        figures: { type: 'string', default: join(root, 'docs/figures') },
        whole: { type: 'boolean', default: false },
        flow: { type: 'string' },
      },
    })
    const names = values.only === undefined ? NAMES : NAMES.filter(name => name === values.only)
    if (names.length === 0) return `--only ${values.only}: one of ${NAMES.join(', ')} was expected`
    const [minutes, families] = [Number(values.minutes), Number(values.families)]
    if (!(minutes > 0 && minutes <= 1_440))
      return `--minutes ${values.minutes}: more than 0 and at most 1440 was expected`
    if (!(Number.isInteger(families) && families >= 1 && families <= 1_000))
      return `--families ${values.families}: a whole number from 1 to 1000 was expected`
    const cases = Number(values.cases)
    if (!(Number.isInteger(cases) && cases >= 1_000 && cases <= 10_000_000))
      return `--cases ${values.cases}: a whole number from 1000 to 10000000 was expected`
    const { seed, figures, whole, flow } = values
    return { names, minutes, families, cases, seed, figures, isWhole: whole, ...(flow === undefined ? {} : { flow }) }
  } catch (error) {
    return (error as Error).message
  }
}

const SUITES: Readonly<Record<Name, (wanted: Wanted) => Promise<SuiteResult>>> = {
  kills: () => kills(),
  cluster: () => clusterSuite({ conversations: 1_000, progress: progressBar(5 * 60_000) }),
  families: wanted => families(wanted),
  many: ({ cases }) => manySuite({ cases, progress: progressBar(cases * 4) }),
  spin: () => spinSuite({ variants: 40, progress: progressBar(20 * 60_000) }),
  ways: () => waysSuite({ progress: progressBar(10 * 60_000) }),
  mutants: ({ minutes, seed, figures, isWhole, flow }) =>
    mutantsSuite({
      ...(flow === undefined ? {} : { flow }),
      minutes,
      seed: Number(seed) || 0,
      figures,
      effort: isWhole ? 'whole' : 'quick',
      progress: progressBar(minutes * 60_000),
    }),
}

async function families({ minutes, families, seed }: Wanted): Promise<SuiteResult> {
  console.log(`${families} families for ${minutes} minutes, seed ${seed}`)
  return familiesSuite({ minutes, families, seed, progress: progressBar(minutes * 60_000), told: console.log })
}

const KILLS = ['tests/whole/kill', 'tests/whole/telegram-kill']

/** The kill tests with all their points; they print their own table and write their own figures. */
function kills(): Promise<SuiteResult> {
  const vitest = join(root, 'node_modules/vitest/vitest.mjs')
  // One file after the other: beside each other they wait for processors, not for the bot, and what is timed there is late.
  const args = [vitest, 'run', '--no-file-parallelism', '--config', 'tests/vitest.config.ts', ...KILLS]
  return new Promise(resolve => {
    const child = spawn(process.execPath, args, {
      cwd: root,
      stdio: 'inherit',
      env: { ...process.env, LONG: '1' },
    })
    child.on('error', error => resolve({ isWell: false, figures: {}, table: [error.message] }))
    child.on('close', code => resolve({ isWell: code === 0, figures: {}, table: [] }))
  })
}

/** What a suite began with: its figures are of that, whatever is committed meanwhile. */
function treeNow() {
  const git = (...args: string[]): string => execFileSync('git', args, { cwd: root, encoding: 'utf8' }).trim()
  return {
    commit: git('rev-parse', 'HEAD'),
    isClean: git('status', '--porcelain', '--', 'src', 'flows', 'tests', 'deploy') === '',
  }
}

function write({ figures, seed }: Wanted, name: Name, tree: ReturnType<typeof treeNow>, result: SuiteResult): void {
  mkdirSync(figures, { recursive: true })
  const head = {
    suite: name,
    date: new Date().toISOString(),
    ...tree,
    seed,
    node: process.version,
    isWell: result.isWell,
  }
  const file = join(figures, `${name}.json`)
  writeFileSync(file, `${JSON.stringify({ ...head, ...result.figures }, undefined, 2)}\n`)
  console.log(`\nFigures: ${file}`)
}

/** A bar that moves on a terminal; elsewhere a line a minute. */
function progressBar(wholeMs: number): (share: number, line: string) => void {
  const startedAt = Date.now()
  let saidAt = 0
  return (share, line) => {
    const passed = Date.now() - startedAt
    if (!process.stdout.isTTY && passed - saidAt < 60_000 && share < 1) return
    saidAt = passed
    const full = Math.round(share * 30)
    const bar = `[${'#'.repeat(full)}${'.'.repeat(30 - full)}] ${clock(passed)} gone, ${clock(Math.max(0, wholeMs - passed))} left: ${line}`
    if (process.stdout.isTTY) process.stdout.write(`\r${bar.padEnd(110)}${share >= 1 ? '\n' : ''}`)
    else console.log(bar)
  }
}

const clock = (ms: number): string =>
  `${Math.floor(ms / 60_000)}:${String(Math.floor((ms % 60_000) / 1_000)).padStart(2, '0')}`
