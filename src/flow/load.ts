/** From the texts of a flows folder to a checked and compiled `FlowSet`, or every problem found. */
import type { ZodType } from 'zod'
import { checkFlow } from './check.ts'
import {
  factsFileSchema,
  flowSchema,
  type StepDocument,
  sharedStepsSchema,
  sourcesFileSchema,
  tagsFileSchema,
  wordingSchema,
} from './document.ts'
import type { Flow, FlowSet } from './flow-set.ts'
import type { FlowFolder, FlowSources, Placed } from './flow-sources.ts'
import { compileKernel } from './kernel.ts'
import { checkWording } from './lint.ts'
import { lintExceptionsSchema, lintSchema, lintWordsSchema } from './lint-document.ts'
import type { Silenced } from './lint-exceptions.ts'
import type { ReadingLimits } from './lint-lines.ts'
import { lintWording } from './lint-wording.ts'
import { type Problem, problemText } from './problem.ts'
import { alarmTargets, reachableSteps } from './steps.ts'
import { type Catalogue, catalogueOf } from './wording.ts'
import { checkShape, readYaml, type YamlReader } from './yaml-places.ts'

/** Paths inside the flows folder ("tube-out/flow.yaml") to texts. */
export type FlowFiles = ReadonlyMap<string, string>

/** The language the shipped flows are written in first. */
const FIRST_LANGUAGE = 'en'

/** A set that can be used, or why there is none; and the findings about its words that somebody silenced. */
export interface LoadedFlows {
  readonly set?: FlowSet
  readonly problems: Problem[]
  readonly silenced: readonly Silenced[]
}

/** What looking through flows and their words found. It depends on nothing but the files and the limits. */
export type Findings = Pick<LoadedFlows, 'problems' | 'silenced'>

/**
 * Reads, checks and compiles. `set` is present only when there is no problem of severity "problem".
 *
 * @param limits  the clinic's own reading grade, and the languages it serves; left out: the grade of the lists,
 *   and English alone
 * @param findings  gives what `look` finds in these files with these limits; left out: it is looked
 */
export function loadFlows(
  files: FlowFiles,
  readText: YamlReader = readYaml,
  limits: ReadingLimits = {},
  findings: (look: () => Findings) => Findings = look => look(),
): LoadedFlows {
  const faults: Problem[] = []
  const sources = readSources(files, readText, faults)
  if (sources === undefined) return { problems: faults, silenced: [] }
  const { problems, silenced } = findings(() => looked(sources, limits))
  const once = withoutRepeats([...faults, ...problems])
  if (once.some(problem => problem.severity === 'problem')) return { problems: once, silenced }
  return { set: compile(sources), problems: once, silenced }
}

function looked(sources: FlowSources, limits: ReadingLimits): Findings {
  const words = sources.lint === undefined ? undefined : lintWording(sources, sources.lint, limits)
  const problems = [
    ...sources.flows.flatMap(folder => checkFlow(sources, folder)),
    ...checkWording(sources, limits.languages ?? [FIRST_LANGUAGE]),
    ...(words?.problems ?? []),
  ]
  return { problems: withoutRepeats(problems), silenced: words?.silenced ?? [] }
}

/** Shared steps are checked with every flow; what is wrong with one is told once. */
function withoutRepeats(problems: readonly Problem[]): Problem[] {
  return [...new Map(problems.map(problem => [problemText(problem), problem])).values()]
}

function readSources(files: FlowFiles, readText: YamlReader, problems: Problem[]): FlowSources | undefined {
  const read = <T>(path: string, schema: ZodType<T>): Placed<T> | undefined => {
    const text = files.get(path)
    if (text === undefined) {
      problems.push({
        code: 'FILE_MISSING',
        file: path,
        line: 1,
        column: 1,
        found: 'no such file',
        expected: `a file ${path}`,
        severity: 'problem',
      })
      return undefined
    }
    const { yaml, problems: syntax } = readText(path, text)
    problems.push(...syntax)
    if (yaml === undefined) return undefined
    const shaped = checkShape(yaml, schema)
    problems.push(...shaped.problems)
    return shaped.value === undefined ? undefined : { value: shaped.value, yaml }
  }
  const inLanguages = <T>(start: string, schema: ZodType<T>) => {
    const found = new Map<string, Placed<T>>()
    for (const path of files.keys()) {
      if (!path.startsWith(`${start}.`)) continue
      const language = /^\.([a-z]{2}(?:-[A-Z]{2})?)\.yaml$/.exec(path.slice(start.length))?.[1]
      if (language === undefined) continue
      const placed = read(path, schema)
      if (placed !== undefined) found.set(language, placed)
    }
    return found
  }
  const wordings = (folder: string) => inLanguages(`${folder}/wording`, wordingSchema)
  const facts = read('shared/facts.yaml', factsFileSchema)
  const tags = read('shared/tags.yaml', tagsFileSchema)
  const sharedSteps = read('shared/steps.yaml', sharedStepsSchema)
  const sharedSources = read('shared/sources.yaml', sourcesFileSchema)
  const sharedWording = wordings('shared')
  const rules = read('shared/lint.yaml', lintSchema)
  const words = inLanguages('shared/lint', lintWordsSchema)
  const screens = inLanguages('shared/wording.screen', wordingSchema)
  const names = [...new Set([...files.keys()].map(path => path.split('/')[0] ?? ''))].filter(
    name => name !== 'shared' && files.has(`${name}/flow.yaml`),
  )
  const flows = names.flatMap(name => {
    const flow = read(`${name}/flow.yaml`, flowSchema)
    const flowSources = read(`${name}/sources.yaml`, sourcesFileSchema)
    const wording = wordings(name)
    return flow === undefined || flowSources === undefined ? [] : [{ name, flow, sources: flowSources, wording }]
  })
  if (facts === undefined || tags === undefined || sharedSteps === undefined || sharedSources === undefined)
    return undefined
  const exceptions = new Map(
    ['shared', ...names].flatMap(name => {
      const path = `${name}/lint-exceptions.yaml`
      const placed = files.has(path) ? read(path, lintExceptionsSchema) : undefined
      return placed === undefined ? [] : [[name, placed] as const]
    }),
  )
  const lint = rules === undefined ? {} : { lint: { rules, words, exceptions, screens } }
  return { facts, tags, sharedSteps, sharedSources, sharedWording, flows, ...lint }
}

function compile(sources: FlowSources): FlowSet {
  const shared = sources.sharedSteps.value.steps
  const wording = new Map(
    [...sources.sharedWording].map(([language, placed]) => [language, catalogueOf(language, placed.value)]),
  )
  const flows = new Map<string, Flow>()
  for (const folder of sources.flows) flows.set(folder.flow.value.concern, compileFlow(folder, sources, shared))
  return { flows, ...sources.facts.value, tags: sources.tags.value.tags, wording }
}

function compileFlow(folder: FlowFolder, sources: FlowSources, shared: Record<string, StepDocument>): Flow {
  const document = folder.flow.value
  const steps = reachableSteps(document, shared)
  const wording = new Map<string, Catalogue>()
  for (const [language, placed] of folder.wording) {
    wording.set(language, catalogueOf(language, sources.sharedWording.get(language)?.value ?? {}, placed.value))
  }
  return {
    concern: document.concern,
    start: document.start,
    silence: document.silence,
    unanswered: document.unanswered,
    left: document.left,
    steps,
    advice: new Map([
      ...Object.entries(sources.sharedSources.value.advice),
      ...Object.entries(folder.sources.value.advice),
    ]),
    sources: new Map([
      ...Object.entries(sources.sharedSources.value.sources),
      ...Object.entries(folder.sources.value.sources),
    ]),
    kernel: compileKernel(
      document.concern,
      document.start,
      steps,
      alarmTargets(document, steps),
      historyFactsOf(sources),
    ),
    closing: Object.entries(sources.sharedSources.value.advice).find(
      ([, advice]) => advice['closes-replies'] === true,
    )?.[0],
    wording,
  }
}

function historyFactsOf(sources: FlowSources): Set<string> {
  const facts = Object.entries(sources.facts.value.facts)
  return new Set(facts.filter(([, fact]) => fact.sticky === true).map(([id]) => id))
}
