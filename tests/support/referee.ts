/** SPIN as a referee of the explorer: the same flow, told anew in Promela, compiled and walked. */
import { execFileSync, spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { settingIds } from '../../src/config/setting-definitions.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { type FlowFiles, loadFlows } from '../../src/flow/load.ts'
import type { Rule } from '../../src/flow/rule-document.ts'
import { loadRules } from '../../src/flow/rule-load.ts'
import { explore } from '../../src/modelcheck/model/explore.ts'
import { type FlattenOptions, flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { promelaOf } from '../../src/modelcheck/referee/promela.ts'
import { watchRules, watchSilence } from '../../src/modelcheck/referee/rules.ts'
import { compileRules, observationsOf } from '../../src/modelcheck/rules/rule-compile.ts'
import { ruleWatch } from '../../src/modelcheck/rules/rule-watch.ts'
import { spinPath } from './missing.ts'

/** What one side found: states between events, transitions, and the rules that broke. */
export interface Walked {
  readonly states: number
  readonly transitions: number
  readonly broken: readonly string[]
  /** Of the walk alone; for SPIN without printing and compiling. */
  readonly milliseconds: number
}

/** A part of a flow that SPIN can walk whole: what a family answers, what else may happen, which locks are on. */
export interface Part {
  readonly name: string
  readonly flow: string
  /** `all`: words and taps at any moment, and corrections; `words`: no corrections; `answers`: neither. */
  readonly happens: 'all' | 'words' | 'answers'
  readonly flatten: FlattenOptions
}

const HAPPENS = {
  all: {},
  words: { corrections: 'none' },
  answers: { corrections: 'none', interruptions: false },
} as const

/** The flows and rules of these files. @throws when they cannot be read */
export function readAll(files: FlowFiles = new Map(readFlowFiles())): { set: FlowSet; rules: readonly Rule[] } {
  const { set, problems } = loadFlows(files)
  if (set === undefined) throw new Error(problems.map(({ found }) => found).join('; '))
  const read = loadRules(files, set, settingIds)
  if (read.rules === undefined) throw new Error(read.problems.map(({ found }) => found).join('; '))
  return { set, rules: read.rules.rules }
}

export function flatPart(part: Part, set: FlowSet, rules: readonly Rule[]): FlatFlow {
  const flow = set.flows.get(part.flow)
  if (flow === undefined) throw new Error(`there is no flow "${part.flow}"`)
  const observed = observationsOf(rules, flatten(flow, set, part.flatten))
  return flatten(flow, set, { ...part.flatten, observed })
}

/** The explorer on a part, by replay as the referee does it; with rules, those that the referee can tell. */
export function explored(part: Part, flat: FlatFlow, rules?: readonly Rule[]): Walked {
  const started = performance.now()
  const options = { resume: 'replay', ...HAPPENS[part.happens] } as const
  if (rules === undefined) {
    const { states, transitions } = explore(flat, options)
    return { states, transitions, broken: [], milliseconds: performance.now() - started }
  }
  const told = watchRules(rules, flat).rules
  const compiled = compileRules(
    rules.filter(({ id }) => told.includes(id)),
    flat,
  )
  const watched = ruleWatch(compiled, flat)
  const { states, transitions } = explore(flat, {
    ...options,
    watch: watched.watch,
    onMover: watched.listen,
    onEdge: watched.onEdge,
  })
  const broken = compiled.rules.flatMap(({ rule }, index) => (watched.broken[index] === undefined ? [] : [rule.id]))
  return { states, transitions, broken: broken.toSorted(), milliseconds: performance.now() - started }
}

/** SPIN on the same part. @throws when it cannot be compiled, or was not walked whole */
export function refereed(part: Part, flat: FlatFlow, rules?: readonly Rule[], optimised = COMPILED_SOON): Walked {
  const told = rules === undefined ? undefined : watchRules(rules, flat)
  const text = promelaOf(flat, { ...HAPPENS[part.happens], ...(told === undefined ? {} : { watch: told.watch }) })
  return walkedBySpin(text, told?.rules ?? [], optimised)
}

/** Whether SPIN finds that a rule with a bound in silence is kept: its goal comes whenever the family falls silent. */
export function silenceKept(part: Part, flat: FlatFlow, rule: Rule): boolean {
  const text = promelaOf(flat, { ...HAPPENS[part.happens], silence: true, watch: watchSilence(rule, flat) })
  const { said } = saidBySpin(text, [], ['-a', '-N', 'comes'])
  const errors = /errors: (\d+)/.exec(said)?.[1]
  if (errors === undefined) throw new Error(`SPIN said nothing of errors: ${said.slice(0, 2000)}`)
  return errors === '0'
}

/** For the compiler: a small part takes longer to compile than to walk. */
const COMPILED_SOON = '-O0'
/** SPIN at its best, for large parts and where its speed is told. */
export const WALKED_FAST = '-O2'

/** Depth that the deepest part needs and more; bytes that a walk may take. */
const DEPTH_MOST = 3_000_000
const MEGABYTES_MOST = 2_000

function walkedBySpin(text: string, rules: readonly string[], optimised: string): Walked {
  const { said, milliseconds } = saidBySpin(text, ['-DSAFETY'], ['-E', '-c0'], optimised)
  // The state before the case begins, and the one transition into it, are SPIN's alone.
  const states = numberBefore(said, 'states, stored') - 1
  const transitions = numberBefore(said, 'transitions \\(') - 1
  const numbers = [...said.matchAll(/assertion violated \(broken!=(\d+)\)/g)].map(([, number]) => Number(number))
  const other = /assertion violated (?!\(broken!=)(.*)/.exec(said)?.[0]
  if (other !== undefined) throw new Error(`the printed model broke an assertion of its own: ${other}`)
  const broken = [...new Set(numbers)].map(number => rules[number - 1] ?? `rule ${number}`)
  return { states, transitions, broken: broken.toSorted(), milliseconds }
}

/** What SPIN's verifier of a model says. @throws when it cannot be made, or did not walk it whole */
function saidBySpin(
  text: string,
  flags: readonly string[],
  options: readonly string[],
  optimised = COMPILED_SOON,
): { readonly said: string; readonly milliseconds: number } {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-referee-'))
  const run = (program: string, args: readonly string[]): string => {
    const { stdout, stderr, error, status } = spawnSync(program, args, {
      cwd: folder,
      encoding: 'utf8',
      maxBuffer: 1 << 28,
    })
    if (error !== undefined) throw error
    if (status !== 0) throw new Error(`${program} ended with ${status}: ${`${stdout}${stderr}`.slice(-2000)}`)
    return stdout
  }
  try {
    writeFileSync(join(folder, 'flow.pml'), text)
    run(spinPath ?? 'spin', ['-a', '-o2', 'flow.pml'])
    run('cc', [optimised, '-DNOREDUCE', `-DMEMLIM=${MEGABYTES_MOST}`, ...flags, '-w', '-o', 'pan', 'pan.c'])
    const started = performance.now()
    const said = run('./pan', [...options, `-m${DEPTH_MOST}`])
    const milliseconds = performance.now() - started
    // It stops at the first broken claim, and says that too.
    const isCutShort = /Search not completed/i.test(said) && !/errors: [1-9]/.test(said)
    if (isCutShort || /max search depth too small|out of memory/i.test(said))
      throw new Error(`SPIN did not walk it whole: ${said.slice(0, 2000)}`)
    return { said, milliseconds }
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

function numberBefore(said: string, words: string): number {
  const found = new RegExp(`([\\d.e+]+) ${words}`).exec(said)?.[1]
  if (found === undefined) throw new Error(`SPIN said nothing of "${words}": ${said.slice(0, 2000)}`)
  return Number(found)
}

/** Version of SPIN, for a figure. */
export const spinVersion = (): string =>
  /Version ([\d.]+)/.exec(execFileSync(spinPath ?? 'spin', ['-V'], { encoding: 'utf8' }))?.[1] ?? 'of no version'
