/** Who notices an edit of the flows: reading them, what vignettes expect, the checker, or every way that vignettes can go on. */
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import type { LoadedLine } from '../../src/cli/load-line.ts'
import type { Vignette } from '../../src/cli/vignette-file.ts'
import { runVignette } from '../../src/cli/vignette-run.ts'
import { judged } from '../../src/cli/vignettes.ts'
import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import { type FlowFiles, loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import type { RuleSet } from '../../src/flow/rule-document.ts'
import { loadRules } from '../../src/flow/rule-load.ts'
import { type CheckSettings, checkFlow } from '../../src/modelcheck/rules/check-flow.ts'
import { policySettings } from '../../src/modelcheck/rules/check-flows.ts'
import type { FlowReport } from '../../src/modelcheck/rules/findings.ts'
import { sayableIn } from '../../src/understand/fact.ts'
import { changingNothing } from './mutant-proof.ts'
import type { Mutant } from './mutation.ts'
import { type Nights, nightsOf } from './nights.ts'
import { readOnce } from './read-once.ts'
import type { Part } from './referee.ts'
import { PARTS } from './referee-parts.ts'
import { type Situation, shippedVignettes } from './situation-ways.ts'

export const NOTICED_BY = ['reading', 'vignettes', 'checker', 'ways'] as const
export type NoticedBy = (typeof NOTICED_BY)[number]

/** Who noticed first, and what it said; undefined when nobody did. */
export interface Noticed {
  readonly by: NoticedBy
  readonly what: string
}

/** `quick`: the checker looks at parts of a flow; `whole`: at all of it where nothing else notices. */
export type Effort = 'quick' | 'whole'

export interface Watchers {
  /** Steps of a flow that the quick check comes through. */
  entered(flow: string): ReadonlySet<string>
  notice(mutant: Mutant, effort: Effort): Promise<Noticed | undefined>
  /** Ids of those that lead no conversation anywhere else. */
  changingNothing(mutants: readonly Mutant[], progress: (share: number, line: string) => void): ReadonlySet<string>
}

/** States of one part that are looked at when it must be quick. Breadth first: the shortest conversations. */
const QUICK_STATES = 3_000
/** Vignettes that go differently and are held against what they expect, at most, evenly among all of them. */
const JUDGED_MOST = 8

interface Baseline {
  readonly shipped: FlowFiles
  readonly loaded: LoadedLine
  readonly problems: ReadonlySet<string>
  readonly vignettes: readonly Vignette[]
  readonly nights: Nights
}

/**
 * Reads and runs everything once as shipped.
 *
 * @param played  ids of the vignettes that are played; left out, all
 * @param flow  only vignettes that begin in this flow
 * @param recorded  situations of vignettes by their id, where they were played before
 * @throws when the shipped flows are not sound themselves
 */
export async function watchers(
  played?: readonly string[],
  flow?: string,
  recorded?: ReadonlyMap<string, readonly Situation[]>,
): Promise<Watchers> {
  const base = await baselineOf(played, flow, recorded)
  const wholly = new Map<string, ReadonlySet<string>>()
  const parts = new Map<string, WalkedPart>()
  const shippedSet = base.loaded.line.flows
  const settings = settingsOf(base.loaded)

  function rulesOf(files: FlowFiles, set: FlowSet): RuleSet | undefined {
    return loadRules(files, set, Object.keys(settings.lengths)).rules
  }
  const shippedRules = rulesOf(base.shipped, shippedSet)
  if (shippedRules === undefined) throw new Error('the shipped rules cannot be read')

  /** Everything that `check` finds in a flow under one setting of its policies. */
  function findings(set: FlowSet, rules: RuleSet, flow: Flow, policies: Readonly<Record<string, string>>) {
    const options = { settings, now: () => performance.now(), policies, interruptions: 'once' } as const
    const { report } = checkFlow(flow, set, rules, options)
    return found(report)
  }

  function knownOf(part: Part): WalkedPart {
    const known = parts.get(part.name) ?? walkedPart(part, shippedSet, shippedRules as RuleSet, settings)
    parts.set(part.name, known)
    return known
  }

  function byParts(mutant: Mutant, set: FlowSet, rules: RuleSet): Noticed | undefined {
    for (const part of PARTS) {
      if (mutant.flow !== undefined && mutant.flow !== part.flow) continue
      const known = knownOf(part)
      if (mutant.steps.length > 0 && !mutant.steps.some(step => known.entered.has(step))) continue
      const anew = [...walkedPart(part, set, rules, settings).broken].find(each => !known.broken.has(each))
      if (anew !== undefined) return { by: 'checker', what: anew }
    }
    return undefined
  }

  function byWhole(mutant: Mutant, set: FlowSet, rules: RuleSet): Noticed | undefined {
    for (const [concern, flow] of set.flows) {
      if (mutant.steps.length > 0 && !mutant.steps.some(step => flow.steps.has(step))) continue
      const shipped = shippedSet.flows.get(concern)
      if (shipped === undefined || (mutant.flow !== undefined && mutant.flow !== concern)) continue
      // With locks open by themselves: the parts.
      for (const policies of policySettings(flow, set, 'shipped')) {
        const key = JSON.stringify([concern, policies])
        const known = wholly.get(key) ?? findings(shippedSet, shippedRules as RuleSet, shipped, policies)
        wholly.set(key, known)
        const anew = [...findings(set, rules, flow, policies)].find(each => !known.has(each))
        if (anew !== undefined) return { by: 'checker', what: anew }
      }
    }
    return undefined
  }

  /** What the vignettes among these expect, on the whole bot with the edited flows. */
  async function byVignettes(ids: readonly string[], set: FlowSet): Promise<Noticed | undefined> {
    const loaded = { ...base.loaded, line: { ...base.loaded.line, flows: set } }
    const every = Math.ceil(ids.length / JUDGED_MOST)
    for (const id of ids.filter((_, at) => at % every === 0)) {
      const vignette = base.vignettes.find(each => each.id === id)
      const failure = vignette === undefined ? undefined : await failureOf(loaded, vignette)
      if (failure !== undefined) return { by: 'vignettes', what: `${id}: ${failure}` }
    }
    return undefined
  }

  /** Vignettes in which advice is said whose tags are edited. */
  const sayingAdvice = (advice: string): readonly string[] =>
    base.vignettes.flatMap(({ id }) => (base.nights.of(id).some(each => each.says.has(advice)) ? [id] : []))

  async function byNights(mutant: Mutant, set: FlowSet): Promise<{ expects?: Noticed; ways?: Noticed }> {
    const { differing, first } = base.nights.differing(mutant, set)
    const expects = await byVignettes(mutant.advice === undefined ? differing : sayingAdvice(mutant.advice), set)
    return {
      ...(expects === undefined ? {} : { expects }),
      ...(first === undefined ? {} : { ways: { by: 'ways', what: first } }),
    }
  }

  return {
    entered: flow => new Set(PARTS.filter(part => part.flow === flow).flatMap(part => [...knownOf(part).entered])),
    changingNothing: (mutants, progress) =>
      changingNothing(base.shipped, shippedSet, mutants, settings.settledNeedsChange, settings.sayable, progress),
    async notice(mutant, effort) {
      const files = mutant.files(base.shipped)
      const read = attempt(() => loadFlows(files, readOnce))
      if (typeof read === 'string') return { by: 'reading', what: read }
      const problem = read.problems.find(each => !base.problems.has(withoutPlace(problemText(each))))
      if (problem !== undefined) return { by: 'reading', what: `${problem.code}: ${problem.found}` }
      const { set } = read
      if (set === undefined) return { by: 'reading', what: 'cannot be read' }
      const rules = rulesOf(files, set)
      if (rules === undefined) return { by: 'reading', what: 'a rule no longer fits the flows' }
      const { expects, ways } = await byNights(mutant, set)
      const noticed = expects ?? byParts(mutant, set, rules) ?? ways
      return noticed ?? (effort === 'whole' ? byWhole(mutant, set, rules) : undefined)
    },
  }
}

interface WalkedPart {
  readonly broken: ReadonlySet<string>
  readonly entered: ReadonlySet<string>
}

/** What `check` finds in a part, up to so many states. A walk that cannot go on is a finding too. */
function walkedPart(part: Part, set: FlowSet, rules: RuleSet, settings: CheckSettings): WalkedPart {
  const flow = set.flows.get(part.flow)
  if (flow === undefined) return { broken: new Set(['the flow is gone']), entered: new Set() }
  const { only, policies = {} } = part.flatten
  try {
    const { report, covered } = checkFlow(flow, set, rules, {
      settings,
      now: () => performance.now(),
      policies,
      interruptions: part.happens === 'answers' ? 'once' : 'whole',
      statesMost: QUICK_STATES,
      compares: false,
      ...(only === undefined ? {} : { only }),
    })
    return { broken: found(report), entered: covered }
  } catch (error) {
    return { broken: new Set([String(error)]), entered: new Set() }
  }
}

const found = ({ findings }: FlowReport): Set<string> =>
  new Set(findings.map(({ rule, at }) => (at === undefined ? rule : `${rule} at ${at.step}`)))

function settingsOf({ line, lexicons }: LoadedLine): CheckSettings {
  const lengths = Object.entries(line.settings).filter(
    (entry): entry is [string, number] => typeof entry[1] === 'number',
  )
  return {
    lengths: Object.fromEntries(lengths),
    settledNeedsChange: line.settings['tract-settled-needs-change'] === 'yes',
    sayable: sayableIn(lexicons.values()),
  }
}

async function baselineOf(
  played?: readonly string[],
  flow?: string,
  recorded?: ReadonlyMap<string, readonly Situation[]>,
): Promise<Baseline> {
  const { loaded, vignettes: all } = shippedVignettes()
  const shipped = new Map(readFlowFiles())
  const vignettes = all.filter(
    ({ id, concern }) => (played?.includes(id) ?? true) && (flow === undefined || concern === flow),
  )
  const nights = await nightsOf(loaded, vignettes, recorded)
  // The edited file is written anew from what was parsed, so only what is said counts, not the line it stands on.
  const baseProblems = loadFlows(shipped, readOnce).problems.map(each => withoutPlace(problemText(each)))
  return { shipped, loaded, problems: new Set(baseProblems), vignettes, nights }
}

const withoutPlace = (text: string): string => text.replace(/:\d+:\d+/, '')

/** The first thing wrong with a vignette; a bot that cannot go on is wrong as well. */
async function failureOf(loaded: LoadedLine, vignette: Vignette): Promise<string | undefined> {
  try {
    return judged(vignette, await runVignette(loaded, vignette)).failures[0]
  } catch (error) {
    return String(error)
  }
}

function attempt<T>(work: () => T): T | string {
  try {
    return work()
  } catch (error) {
    return String(error)
  }
}
