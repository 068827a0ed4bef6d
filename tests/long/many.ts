/**
 * Transcripts of very many cases, by the commands as they are typed: import, which is killed once and goes on; replay; export of a data
 * folder, which is killed once and goes on. Each must hold as little memory with ten times the cases. All of it is done by a copy of the
 * program taken at the start.
 */
import { spawn } from 'node:child_process'
import { closeSync, existsSync, mkdirSync, openSync, readdirSync, rmSync, statSync, writeSync } from 'node:fs'
import { loadavg } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { partOf } from '../../src/cli/transcript-file.ts'
import { newGround } from '../../src/measure/ground.ts'
import type { ManyCases } from '../../src/measure/many-cases.ts'
import { ran } from '../../src/measure/process.ts'
import type { CaseLine, StepLine, TranscriptLine } from '../../src/replay/transcript.ts'
import { systemClock, systemRandom } from '../../src/runtime/system-clock.ts'
import type { Store } from '../../src/store/store.ts'
import { instant } from '../../src/time/instant.ts'
import { type FixedTree, fixedTree } from './fixed-tree.ts'
import type { SuiteResult } from './world.ts'

export interface ManyOptions {
  readonly cases: number
  readonly progress: (share: number, line: string) => void
}

/** Cases of the small year that is told again and again. */
const SMALL = 500
/** Of so many cases one is put into a data folder, step by step as the bot does, to be exported. */
const STORED_OF = 20
/** Memory with ten times the cases over memory with these: more would mean that it grows with them. */
const GROWTH_MOST = 1.5
/** With fewer cases a command ends before it has filled its caches, and ten times as many tell nothing of growth. */
const TELLING_CASES = 2_000
/** Whatever the number of cases. */
const MEMORY_MOST_MB = 400
/** Part of an output that is there when the command is killed. */
const KILLED_AT = 0.3

/** One command at one size. */
interface Run {
  readonly what: string
  readonly cases: number
  readonly minutes: number
  readonly mostMb: number
}

export async function manySuite({ cases, progress }: ManyOptions): Promise<SuiteResult> {
  const ground = newGround()
  const tree = fixedTree(ground)
  const { launcher } = tree
  const many = await manyOf(tree)
  const runs: Run[] = []
  const broken: string[] = []
  const expects = (isSo: boolean, what: string) => {
    if (!isSo) broken.push(what)
  }
  let at = 0
  const says = (share: number, line: string) => {
    at = share
    progress(share, line)
  }
  const command = async (what: string, size: number, ...args: readonly string[]) => {
    const { out, minutes, mostMb } = await ran([launcher, ...args, '--json'], ground, line => progress(at, line))
    runs.push({ what, cases: size, minutes, mostMb })
    return JSON.parse(out)
  }

  try {
    for (const size of [Math.ceil(cases / 10), cases]) {
      const share = size === cases ? 0.15 : 0.01
      const folder = ground.folder()
      const data = join(folder, 'data')
      const file = join(folder, 'many.jsonl')
      mkdirSync(data)
      says(share, `writing ${size} cases`)
      const bytes = write(file, many.lines(size))

      says(share, `import of ${size} cases, killed once`)
      const isKilled = await killedAt(
        launcher,
        bytes * KILLED_AT,
        join(data, 'transcripts'),
        'import',
        file,
        '--data',
        data,
      )
      const [taken] = (await command('import', size, 'transcript', 'import', file, '--data', data)).imported
      expects(taken.cases === size && taken.faults === 0, `import took ${taken.cases} of ${size} cases`)
      expects(!isKilled || taken.before > 0, 'an import that was killed began anew')
      rmSync(file)

      says(share * 3, `replay of ${size} cases`)
      const replayed = await command('replay', size, 'replay', taken.file, '--fast')
      expects(replayed.same === size, `replay: ${replayed.same} of ${size} cases decided the same`)
      rmSync(taken.file)

      const stored = Math.ceil(size / STORED_OF)
      says(share * 5, `${stored} cases into a data folder`)
      await fill(tree, data, many.lines(stored))
      const out = join(folder, 'out.jsonl')
      const wasKilled = await killedAt(launcher, (bytes / STORED_OF) * KILLED_AT, folder, 'export', out, '--data', data)
      const isCut = wasKilled && !existsSync(out)
      // Done before it was killed: it is made anew, since no file is written over.
      rmSync(out, { force: true })
      const exported = await command('export', stored, 'transcript', 'export', out, '--data', data)
      expects(exported.cases === stored && exported.leftOut === 0, `export wrote ${exported.cases} of ${stored} cases`)
      expects(!isCut || exported.before > 0, 'an export that was killed began anew')
      const again = await command('replay of the export', stored, 'replay', out, '--fast')
      expects(again.same === stored, `replay of the export: ${again.same} of ${stored} cases decided the same`)
      ground.removeFolder(folder)
    }
  } finally {
    ground.clear()
  }
  const growth = growthOf(runs)
  for (const { what, cases: size, mostMb } of runs)
    expects(mostMb <= MEMORY_MOST_MB, `${what} of ${size} cases: ${mostMb.toFixed(0)} MB`)
  for (const [what, times] of growth) expects(times <= GROWTH_MOST, `${what}: ${times.toFixed(2)} times the memory`)
  progress(1, 'done')
  return {
    isWell: broken.length === 0,
    figures: {
      ...{ cases, load: loadavg()[0], runs: runs.map(rounded) },
      ...{ memoryGrowth: Object.fromEntries(growth), minutesOfAMillion: ofAMillion(runs), broken },
    },
    table: [
      ...runs.map(
        ({ what, cases: size, minutes, mostMb }) =>
          `${what.padEnd(22)} ${String(size).padStart(9)} cases  ${minutes.toFixed(1).padStart(6)} min  at most ${mostMb.toFixed(0)} MB`,
      ),
      ...growth.map(([what, times]) => `${what.padEnd(22)} memory with ten times the cases: ${times.toFixed(2)} times`),
      ...broken.map(what => `BROKEN ${what}`),
    ],
  }
}

async function manyOf(tree: FixedTree): Promise<ManyCases> {
  const { DEMO_CLINIC, loadLine } = await tree.module<typeof import('../../src/cli/load-line.ts')>('cli/load-line.ts')
  const { manyCases } = await tree.module<typeof import('../../src/measure/many-cases.ts')>('measure/many-cases.ts')
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: systemClock().now() })
  if (loaded === undefined) throw new Error('the shipped line was expected to load')
  return manyCases(loaded.line, SMALL)
}

const rounded = ({ minutes, mostMb, ...run }: Run) => ({
  ...run,
  minutes: Number(minutes.toFixed(2)),
  mostMb: Math.round(mostMb),
})

/** Minutes that each command would take for a million cases, by what the cases beyond those of its first size took. */
function ofAMillion(runs: readonly Run[]): Readonly<Record<string, number>> {
  const found = runs.flatMap(large => {
    const small = runs.find(({ what, cases }) => what === large.what && cases < large.cases)
    if (small === undefined) return []
    const each = (large.minutes - small.minutes) / (large.cases - small.cases)
    return [[large.what, Number((large.minutes + each * (1_000_000 - large.cases)).toFixed(1))] as const]
  })
  return Object.fromEntries(found)
}

/** Memory of each command at the larger size over that at the smaller, where that was large enough to tell. */
function growthOf(runs: readonly Run[]): readonly (readonly [what: string, times: number])[] {
  const telling = runs.filter(({ what, cases }) =>
    runs.some(one => one.what === what && one.cases >= TELLING_CASES && one.cases < cases),
  )
  return [...new Set(telling.map(({ what }) => what))].map(what => {
    const [small, large] = runs.filter(run => run.what === what).map(({ mostMb }) => mostMb)
    return [what, Number(((large ?? Number.NaN) / (small ?? Number.NaN)).toFixed(3))]
  })
}

/**
 * Starts `transcript import` or `export` and kills it, as a power cut does, once so many bytes of what it writes lie in the folder.
 *
 * @returns false where it was done before that
 */
async function killedAt(launcher: string, bytes: number, folder: string, ...args: readonly string[]): Promise<boolean> {
  const child = spawn(process.execPath, [launcher, 'transcript', ...args], { stdio: 'ignore' })
  const ended = new Promise(resolve => child.once('close', resolve))
  while (child.exitCode === null) {
    if (partBytes(folder) >= bytes) {
      child.kill('SIGKILL')
      await ended
      return true
    }
    await pause(10)
  }
  return false
}

function partBytes(folder: string): number {
  const parts = existsSync(folder) ? readdirSync(folder).filter(name => name.endsWith(partOf(''))) : []
  return parts.reduce((sum, name) => sum + statSync(join(folder, name)).size, 0)
}

/** Puts the cases of a transcript into a data folder, a step at a time and some cases at once, as the bot does. */
async function fill(tree: FixedTree, folder: string, lines: Iterable<string>): Promise<void> {
  const { openDataFolder } = await tree.module<typeof import('../../src/cli/data-folder.ts')>('cli/data-folder.ts')
  const { openSealedData } = await tree.module<typeof import('../../src/cli/sealed-data.ts')>('cli/sealed-data.ts')
  const { store } = await openSealedData({
    data: openDataFolder(folder, systemRandom()),
    mode: 'demonstration',
    onUnreadable: () => {},
    onFault: error => {
      throw error
    },
  })
  let under: Promise<void>[] = []
  let head: CaseLine | undefined
  let steps: StepLine[] = []
  const put = () => {
    if (head !== undefined) under.push(stored(store, head, steps))
    steps = []
  }
  for (const text of lines) {
    const line = JSON.parse(text) as TranscriptLine
    if (line.kind === 'case') {
      put()
      head = line
      if (under.length >= AT_ONCE) {
        await Promise.all(under)
        under = []
      }
    } else if (line.kind === 'step') steps.push(line)
  }
  put()
  await Promise.all(under)
  await store.close()
}

const AT_ONCE = 64

async function stored(store: Pick<Store, 'commit'>, head: CaseLine, steps: readonly StepLine[]): Promise<void> {
  const { case: caseId, channel, family, concern, flow, closed } = head
  for (const { seq, at, event, effects } of steps) {
    const result = await store.commit({
      ...{ caseId, chat: { channel, chat: family }, from: seq - 1, at: instant(at) },
      closed: closed && seq === steps.length,
      state: JSON.stringify({ concern, flowHash: flow, code: 'Sun 1000' }),
      ...{ event: JSON.stringify(event), effects: JSON.stringify(effects), outbox: [] },
      alarms: { set: [], cancel: [] },
    })
    if (result !== 'committed') throw new Error(`step ${seq} of case ${caseId} came back as ${result}`)
  }
}

function write(file: string, lines: Iterable<string>): number {
  const handle = openSync(file, 'w', 0o600)
  let bytes = 0
  let gathered = ''
  for (const line of lines) {
    gathered += `${line}\n`
    if (gathered.length < 1 << 20) continue
    bytes += writeSync(handle, gathered)
    gathered = ''
  }
  bytes += writeSync(handle, gathered)
  closeSync(handle)
  return bytes
}
