import type { Flow, FlowSet } from '../../src/flow/flow-set.ts'
import type { Step } from '../../src/flow/flow-step.ts'
import { problemText } from '../../src/flow/problem.ts'
import type { Rule, RuleSet } from '../../src/flow/rule-document.ts'
import { loadRules } from '../../src/flow/rule-load.ts'
import { explore } from '../../src/modelcheck/model/explore.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import type { Move } from '../../src/modelcheck/model/flat-step.ts'
import { saidIn } from '../../src/modelcheck/model/givable.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { compileRules, observationsOf } from '../../src/modelcheck/rules/rule-compile.ts'
import { ruleWatch } from '../../src/modelcheck/rules/rule-watch.ts'
import { shippedFiles, shippedFlows } from './a-line.ts'

/** Rules put to flows that tests write or break, one at a time. */

export const LENGTHS = ['left-check', 'left-silent', 'promise-grace'] as const

/** Rules as a clinic writes them; throws with the report where anything is wrong. */
export function rulesOf(text: string, set: FlowSet): RuleSet {
  const { rules, problems } = loadRules(new Map([['rules/test.yaml', text]]), set, LENGTHS)
  if (rules === undefined) throw new Error(problems.map(problemText).join('\n'))
  return rules
}

export const shippedRules: RuleSet = (() => {
  const { rules, problems } = loadRules(shippedFiles, shippedFlows, LENGTHS)
  if (rules === undefined) throw new Error(problems.map(problemText).join('\n'))
  return rules
})()

/** What one walk shows of one rule. */
export interface Shown {
  readonly breach: { readonly step: string | undefined; readonly way: readonly string[] } | undefined
  readonly isWitnessed: boolean
}

export interface WalkOf {
  readonly policies?: Readonly<Record<string, string>>
  /** Answers that the family may give, by fact; facts that are not listed may be answered in every way. */
  readonly answers?: Readonly<Record<string, readonly string[]>>
  readonly interruptions?: boolean
  /** Whether stored alarms fire and time passes; left out: yes. */
  readonly alarms?: boolean
}

const BY_ITSELF: ReadonlySet<string> = new Set(['alarm', 'time', 'grew-older'])

class Enough extends Error {
  override readonly name = 'Enough'
}

/** Walks a flow until one rule is broken, or to the end. */
export function walkFor(rule: Rule, flow: Flow, set: FlowSet, options: WalkOf = {}): Shown {
  const { policies = {}, answers, interruptions = true, alarms = true } = options
  const bare = flatten(flow, set, { policies })
  const flat = flatten(flow, set, { policies, observed: observationsOf([rule], bare) })
  const watched = ruleWatch(compileRules([rule], flat), flat)
  let state: Int32Array | undefined
  let way: Move[] = []
  const ways = new Map<number, { readonly from: number; readonly move: Move }>()
  const wayTo = (at: number): Move[] => {
    const found = ways.get(at)
    return found === undefined ? [] : [...(found.from < 0 ? [] : wayTo(found.from)), found.move]
  }
  try {
    explore(flat, {
      resume: 'return',
      corrections: interruptions ? 'restart' : 'none',
      interruptions,
      isFollowed: move =>
        (alarms || !BY_ITSELF.has(move.kind)) && (answers === undefined || isAllowed(move, state, flat, answers)),
      watch: {
        ...watched.watch,
        begin: (memory, from) => {
          state = from
          watched.watch.begin(memory, from)
        },
      },
      marks: watched.marks,
      onMover: watched.listen,
      onEdge: edge => {
        watched.onEdge(edge)
        if (edge.isNew) ways.set(edge.to, { from: edge.from, move: edge.move })
        if (watched.broken[0] === undefined) return
        way = [...(edge.from < 0 ? [] : wayTo(edge.from)), edge.move]
        throw new Enough()
      },
    })
  } catch (error) {
    if (!(error instanceof Enough) && !(error instanceof Error && error.cause instanceof Enough)) throw error
  }
  const seen = watched.broken[0]
  return {
    breach: seen === undefined ? undefined : { step: flat.nodes[seen.node]?.id, way: way.map(move => move.kind) },
    isWitnessed: watched.witnessed[0] !== undefined,
  }
}

function isAllowed(
  move: Move,
  state: Int32Array | undefined,
  flat: FlatFlow,
  answers: Readonly<Record<string, readonly string[]>>,
): boolean {
  if (move.kind === 'opened') {
    return saidIn(flat, move.arg).every(({ field, index }) => {
      const { fact, domain } = flat.cells[field] ?? {}
      const allowed = answers[fact ?? '']
      return allowed === undefined || domain?.classes[index]?.members.some(each => allowed.includes(each))
    })
  }
  if (move.kind !== 'answered' || state === undefined) return true
  const cell = flat.cells[flat.nodes[state[flat.fields.talk] as number]?.ask ?? -1]
  const allowed = answers[cell?.fact ?? '']
  return (
    allowed === undefined || (cell?.domain.classes[move.arg]?.members.some(each => allowed.includes(each)) ?? false)
  )
}

// ---- Flows broken on purpose ----

/** A flow with some steps changed. */
export function withSteps(flow: Flow, changes: Readonly<Record<string, Partial<Step>>>): Flow {
  const steps = new Map(flow.steps)
  for (const [id, change] of Object.entries(changes)) {
    const step = steps.get(id)
    if (step === undefined) throw new Error(`flow "${flow.concern}" has no step "${id}"`)
    steps.set(id, { ...step, ...change })
  }
  return { ...flow, steps }
}

/** A flow in which some advice carries other tags. */
export function withTags(flow: Flow, changes: Readonly<Record<string, readonly string[]>>): Flow {
  const advice = new Map(flow.advice)
  for (const [id, tags] of Object.entries(changes)) {
    const own = advice.get(id)
    if (own === undefined) throw new Error(`flow "${flow.concern}" has no advice "${id}"`)
    advice.set(id, { ...own, tags: [...tags] })
  }
  return { ...flow, advice }
}

/** A flow whose step leads on without conditions. */
export const leadsTo = (go: string): Partial<Step> => ({ rows: [{ if: {}, go }] })
