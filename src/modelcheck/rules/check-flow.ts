/** Everything that is looked at in one flow under one setting of its policies. */
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import type { RuleSet } from '../../flow/rule-document.ts'
import { comparer, type Disagreement } from '../model/compare.ts'
import { type Edge, type Explored, explore, TooManyStates, WalkBroke } from '../model/explore.ts'
import { flatten } from '../model/flat-flow.ts'
import { type Move, NeverRests } from '../model/flat-step.ts'
import { givableIn, type Sayable, saidIn } from '../model/givable.ts'
import { isoLength, type SilentGraph, silentGraph } from '../model/silent.ts'
import { dispositionOf, type FlatFlow } from '../model/tables.ts'
import { answerGraph, type Bounds, boundsOf, decidedLate, questionsUntil } from './builtin-answers.ts'
import { type WalkWatch, walkWatch } from './builtin-walk.ts'
import type { Finding, FlowReport, QuestionFigures, Witness } from './findings.ts'
import { compileRules, observationsOf } from './rule-compile.ts'
import { type RuleWatch, ruleWatch, type Seen, silentRules } from './rule-watch.ts'
import { milderEnds, ordersOf } from './worse-answers.ts'

/** What the clinic has set that a check reads: lengths in milliseconds by the id of their setting, and one switch. */
export interface CheckSettings {
  readonly lengths: Readonly<Record<string, number>>
  readonly settledNeedsChange: boolean
  /** What a first message may say in free words, by the word lists of the clinic's languages. */
  readonly sayable: Sayable
}

export interface FlowCheckOptions {
  readonly settings: CheckSettings
  /** Milliseconds that only ever grow. */
  readonly now: () => number
  readonly policies: Readonly<Record<string, string>>
  /**
   * `whole`: every interruption and change of mind is followed, any number of times. `once`: each is made at every moment
   * and its reply looked at; what comes after it is not.
   */
  readonly interruptions: 'whole' | 'once'
  readonly statesMost?: number
  /** Holds the tables to the machine that serves on the way: some six times the work. Left out: where all is `whole`. */
  readonly compares?: boolean
  /** By fact, the only answers a family gives: a part of the flow, walked in a moment. Left out: every answer. */
  readonly only?: Readonly<Record<string, readonly string[]>>
  readonly onProgress?: (states: number, looked: number) => void
}

/** What a run shows beyond its report: for what holds over all runs together. */
export interface FlowCheck {
  readonly report: FlowReport
  /** Steps entered and rows taken, as `step` and `step#row`. */
  readonly covered: ReadonlySet<string>
}

/** Interruptions and changes of mind. */
const TURNS: ReadonlySet<string> = new Set([
  'danger-said',
  'person-wanted',
  'travel-refused',
  'left-said',
  'wrong-tap',
  'restarted',
])

/** Bit of the silent graph for "somebody was paged". */
const PAGED = 30

export function checkFlow(flow: Flow, set: FlowSet, rules: RuleSet, options: FlowCheckOptions): FlowCheck {
  const began = options.now()
  const { policies, settings } = options
  const base = {
    policies,
    settledNeedsChange: settings.settledNeedsChange,
    ...(options.only === undefined
      ? { givable: givableIn(flow, set, settings.sayable) }
      : { only: options.only, givable: new Map() }),
  }
  const bare = flatten(flow, set, base)
  const flat = flatten(flow, set, { ...base, observed: observationsOf(rules.rules, bare) })
  const compiled = compileRules(rules.rules, flat)
  const silent = silentGraph(flat, {
    ask: settings.lengths['left-check'] ?? 0,
    page: settings.lengths['left-silent'] ?? 0,
  })
  const triggers = new Map(silentRules(compiled.rules).map(index => [index, new Set<number>()]))
  const walk = walkWatch(flat)
  const watched = ruleWatch(compiled, flat, (edge, { triggered, met }) => {
    silent.add(edge, met | (isPaging ? 1 << PAGED : 0))
    if (edge.to >= 0) for (const rule of triggered) triggers.get(rule)?.add(edge.to)
  })
  let isPaging = false
  const machine = (options.compares ?? options.interruptions === 'whole') ? comparer(flat) : undefined
  const find = finder(flat, policies)
  const told = valuesTold(flat)
  const findings: Finding[] = []
  let explored: Explored | undefined
  let notWhole: string | undefined
  try {
    explored = explore(flat, {
      resume: 'return',
      corrections: 'restart',
      interruptions: true,
      ...(options.statesMost === undefined ? {} : { statesMost: options.statesMost }),
      isFollowed: move => (isLookedAt(move, flat, options.interruptions) ? 'looked' : true),
      watch: {
        sizes: watched.watch.sizes,
        begin: (memory, state) => {
          walk.begin(memory, state)
          watched.watch.begin(memory, state)
        },
        end: (move, next) => {
          walk.end(move, next)
          return watched.watch.end(move, next)
        },
      },
      marks: watched.marks,
      onMover: mover => {
        walk.listen(mover)
        watched.listen(mover)
        machine?.listen(mover)
      },
      onEdge: edge => {
        isPaging = walk.onEdge(edge)
        watched.onEdge(edge)
        if (edge.isNew) told.add(edge)
      },
      ...(options.onProgress === undefined ? {} : { onProgress: options.onProgress }),
    })
  } catch (error) {
    if (error instanceof TooManyStates) {
      notWhole = tooMany(error.states, told.most())
      findings.push(...seenFindings(watched, walk, compiled.rules, error, flat, find))
    } else findings.push(broke(error, find))
  }
  if (explored !== undefined) {
    findings.push(...seenFindings(watched, walk, compiled.rules, explored, flat, find))
    findings.push(...silentFindings(compiled.rules, triggers, silent, explored, flat, settings, find))
    findings.push(...aloneFindings(silent, explored, flat, find))
  }
  const { compared, disagreements } = machine?.result() ?? { compared: 0, disagreements: [] }
  findings.push(...disagreements.slice(0, 1).map(each => disagreed(each, find)))
  const answers = answerFindings(bare, rules, find)
  findings.push(...answers.findings, ...unsureFindings(flat, find))
  const witnesses: Witness[] = compiled.rules.flatMap(({ rule }, index) => {
    const seen = watched.witnessed[index]
    return seen === undefined ? [] : [{ rule: rule.id, way: explored === undefined ? [] : wayOf(seen, explored) }]
  })
  const report: FlowReport = {
    flow: flow.concern,
    policies,
    walked: options.interruptions,
    states: explored?.states ?? 0,
    transitions: explored?.transitions ?? 0,
    bytes: explored?.bytes ?? 0,
    compared,
    seconds: (options.now() - began) / 1000,
    rules: compiled.rules.map(({ rule }) => rule.id),
    findings,
    questions: answers.questions,
    witnesses,
    ...(notWhole === undefined ? (answers.notWhole === undefined ? {} : { notWhole: answers.notWhole }) : { notWhole }),
  }
  return { report, covered: coveredBy(walk, flat) }
}

/**
 * Whether of a move the reply alone is looked at. Where all is followed: talk that begins anew with more than one thing told
 * before, since what the first message tells is walked in every combination by itself.
 */
function isLookedAt({ kind, arg }: Move, flat: FlatFlow, walked: 'whole' | 'once'): boolean {
  if (walked === 'once') return TURNS.has(kind)
  return TURNS.has(kind) && arg !== 0 && saidIn(flat, arg).length > 1
}

type Find = (
  rule: string,
  kind: Finding['kind'],
  says: string,
  way: readonly Move[],
  at?: { readonly step: string; readonly row?: number },
) => Finding

function finder(flat: FlatFlow, policies: Readonly<Record<string, string>>): Find {
  return (rule, kind, says, way, at) => ({
    rule,
    kind,
    flow: flat.concern,
    policies,
    says,
    way,
    resume: 'return',
    ...(at === undefined ? {} : { at }),
  })
}

const wayOf = ({ from, move }: Seen, explored: Pick<Explored, 'wayTo'>): readonly Move[] =>
  from < 0 ? [move] : [...explored.wayTo(from), move]

const stepAt = (flat: FlatFlow, node: number) => {
  const step = flat.nodes[node]?.id
  return step === undefined ? undefined : { step }
}

function broke(error: unknown, find: Find): Finding {
  const cause = error instanceof WalkBroke ? error.cause : error
  const way = error instanceof WalkBroke ? error.way : []
  if (cause instanceof NeverRests) {
    const step = cause.steps.at(-1)
    return find('never-rests', 'built-in', `${cause.message}.`, way, step === undefined ? undefined : { step })
  }
  if (error instanceof WalkBroke) return find('no-row-fits', 'built-in', `Talk cannot go on: ${error.message}.`, way)
  throw error
}

/** The machine that serves does something else than the tables that were walked: nothing else found here can be trusted. */
function disagreed({ event, from, tables, machine }: Disagreement, find: Find): Finding {
  const says = `The machine that serves goes another way than the tables that were walked, so nothing is proved here: at "${from}", ${event}: ${machine}, and not ${tables}.`
  return find('machine-differs', 'built-in', says, [], { step: from })
}

/** What one conversation shows by itself: true of a flow also where not all of it was walked. */
function seenFindings(
  watched: RuleWatch,
  walk: WalkWatch,
  rules: ReturnType<typeof compileRules>['rules'],
  explored: Pick<Explored, 'wayTo'>,
  flat: FlatFlow,
  find: Find,
): Finding[] {
  const found = rules.flatMap(({ rule }, index) => {
    const seen = watched.broken[index]
    if (seen === undefined) return []
    const at = stepAt(flat, seen.node)
    const where = at === undefined ? '' : ` at step "${at.step}"`
    return [find(rule.id, 'rule', `${rule.means} Here that does not hold${where}.`, wayOf(seen, explored), at)]
  })
  const lowered = walk.lowered()
  if (lowered !== undefined) {
    const says = 'What was decided becomes milder, though no answer was changed and no clinician lowered it.'
    found.push(find('lowered-by-itself', 'built-in', says, wayOf(lowered, explored), stepAt(flat, lowered.node)))
  }
  const undecided = walk.endedUndecided()
  if (undecided !== undefined) {
    const says = 'Talk ends before anything was decided.'
    found.push(find('ends-undecided', 'built-in', says, wayOf(undecided, explored), stepAt(flat, undecided.node)))
  }
  return found
}

function silentFindings(
  rules: ReturnType<typeof compileRules>['rules'],
  triggers: ReadonlyMap<number, ReadonlySet<number>>,
  silent: SilentGraph,
  explored: Explored,
  flat: FlatFlow,
  settings: CheckSettings,
  find: Find,
): Finding[] {
  return [...triggers].flatMap(([index, states], goal) => {
    const rule = rules[index]
    const text = rule?.silent ?? ''
    const most = isoLength(text) ?? settings.lengths[text] ?? 0
    for (const state of [...states].toSorted((a, b) => a - b)) {
      const worst = silent.worstFrom(state, goal)
      if (rule === undefined || worst.after <= most) continue
      if (!Number.isFinite(worst.after) && isOverAndPaged(explored, flat, worst.state)) continue
      const took = Number.isFinite(worst.after) ? `it takes ${minutesIn(worst.after)}` : 'it may never come'
      const says = `${rule.rule.means} Here nobody answers, and ${took}; at most ${minutesIn(most)} is allowed.`
      return [find(rule.rule.id, 'rule', says, [...explored.wayTo(state), ...worst.way])]
    }
    return []
  })
}

const minutesIn = (length: number): string => `${Math.round(length / 6000) / 10} minutes`

function aloneFindings(silent: SilentGraph, explored: Explored, flat: FlatFlow, find: Find): Finding[] {
  const alone = leftAlone(silent, explored, flat)
  if (alone === undefined) return []
  const says = 'When the family falls silent here nothing is left that would ask again or page.'
  const way = [...explored.wayTo(alone.state), ...alone.way]
  return [find('left-alone-in-silence', 'built-in', says, way, stepAt(flat, alone.node))]
}

/** Written after talk had ended: it falls back to its end, and the page that went out for it goes on. */
function isOverAndPaged(explored: Explored, { fields: F, nodes }: FlatFlow, at: number): boolean {
  const state = explored.state(at)
  return nodes[state[F.talk] as number]?.ends === true && state[F.paged] === 1
}

/** A state that silence leads nowhere from: no page comes of it, nobody was paged, and talk has not ended. */
function leftAlone(
  silent: SilentGraph,
  explored: Explored,
  flat: FlatFlow,
): { state: number; node: number; way: readonly Move[] } | undefined {
  const { fields: F, nodes } = flat
  const state = new Int32Array(explored.width)
  for (let at = 0; at < explored.states; at++) {
    explored.state(at, state)
    const node = state[F.talk] as number
    const step = nodes[node]
    if (step === undefined || step.ends) continue
    // In an emergency silence is left to the page, which goes on until somebody answers it.
    const isOpen = step.ask >= 0 && !step.quiet && !step.isEmergency
    const worst = isOpen ? silent.worstFrom(at, PAGED) : undefined
    // Somebody who was paged does not know that a question nobody chases is still open.
    const isQuiet = step.ask >= 0 && step.quiet && !step.isEmergency && state[F.danger] === 0
    const isKept =
      worst === undefined ? (state[F.paged] === 1 && !isQuiet) || silent.leadsOn(at) : Number.isFinite(worst.after)
    if (!isKept && worst !== undefined && isOverAndPaged(explored, flat, worst.state)) continue
    if (!isKept) return { state: at, node, way: worst?.way ?? [] }
  }
  return undefined
}

const NO_FIGURE = { best: -1, median: -1, worst: -1 }
const NO_FIGURES: QuestionFigures = { toDecision: NO_FIGURE, toAdvice: NO_FIGURE, toRest: NO_FIGURE }

function answerFindings(
  flat: FlatFlow,
  { worse }: RuleSet,
  find: Find,
): { findings: Finding[]; questions: QuestionFigures; notWhole?: string } {
  let graph: ReturnType<typeof answerGraph>
  try {
    graph = answerGraph(flat)
  } catch (error) {
    if (error instanceof TooManyStates)
      return { findings: [], questions: NO_FIGURES, notWhole: tooMany(error.states, []) }
    return { findings: [broke(error, find)], questions: NO_FIGURES }
  }
  const bounds = boundsOf(graph)
  if ('circleAt' in bounds) {
    const says = 'Answering leads round in a circle: the same question comes again and again.'
    const at = stepAt(flat, graph.node(bounds.circleAt))
    const found = find('circle-of-questions', 'built-in', says, graph.wayTo(bounds.circleAt), at)
    return { findings: [found], questions: NO_FIGURES }
  }
  const questions = {
    toDecision: questionsUntil(graph, at => graph.urgency(at) > 0),
    toAdvice: questionsUntil(graph, at => graph.isAdvised(at)),
    toRest: questionsUntil(graph, at => graph.edges(at).length === 0),
  }
  const milder = milderEnds(flat, graph, bounds, ordersOf(flat, worse))
  const findings = [...lateFinding(flat, graph, bounds, find), ...milder.found.map(each => milderFinding(each, find))]
  const notWhole = 'Not every pair of answers could be compared for a worse answer that leads to less.'
  return { findings, questions, ...(milder.isWhole ? {} : { notWhole }) }
}

function lateFinding(flat: FlatFlow, graph: ReturnType<typeof answerGraph>, bounds: Bounds, find: Find): Finding[] {
  const late = decidedLate(graph, bounds)
  if (late === undefined) return []
  const certain = dispositionOf(bounds.least[late] ?? 0) ?? 'nothing'
  const says = `Whatever is answered, it ends in "${certain}", yet a question is put before that is decided and said.`
  return [find('decided-late', 'built-in', says, graph.wayTo(late), stepAt(flat, graph.node(late)))]
}

function milderFinding(each: ReturnType<typeof milderEnds>['found'][number], find: Find): Finding {
  const { fact, mild, worse, mildTo, worseTo, way } = each
  const rule = worse === 'unsure' ? 'not-sure-is-milder' : 'worse-is-milder'
  const end = (urgency: number) => dispositionOf(urgency) ?? 'nothing decided'
  const says = `"${worse}" for "${fact}" is worse than "${mild}" and leads to less: ${end(worseTo)} in place of ${end(mildTo)}, everything else answered alike.`
  return find(rule, 'built-in', says, way)
}

/** Every question can be answered with "not sure". */
function unsureFindings(flat: FlatFlow, find: Find): Finding[] {
  return flat.nodes.flatMap(node => {
    const cell = flat.cells[node.ask]
    if (cell === undefined || cell.domain.classes.some(answer => answer.members.includes('unsure'))) return []
    if (cell.domain.document.kind === 'many' && cell.domain.document.apart !== undefined) return []
    const says = `The question about "${cell.fact}" cannot be answered with "not sure".`
    return [find('no-not-sure', 'built-in', says, [], { step: node.id })]
  })
}

function coveredBy({ entered, taken }: WalkWatch, flat: FlatFlow): Set<string> {
  const covered = new Set<string>()
  flat.nodes.forEach((node, at) => {
    if (entered[at] === 1) covered.add(node.id)
    taken[at]?.forEach((isTaken, row) => {
      if (isTaken === 1) covered.add(`${node.id}#${row}`)
    })
  })
  return covered
}

/** How many values of each fact the states found tell apart. */
function valuesTold(flat: FlatFlow): { add(edge: Edge): void; most(): readonly string[] } {
  const values = flat.cells.map(() => new Set<number>())
  return {
    add({ to, after }) {
      if (to % 64 === 0) for (const [field, seen] of values.entries()) seen.add(after[field] as number)
    },
    most() {
      return values
        .map((seen, field) => ({ fact: flat.cells[field]?.fact ?? '', count: seen.size }))
        .toSorted((a, b) => b.count - a.count)
        .slice(0, 4)
        .map(({ fact, count }) => `"${fact}" (${count})`)
    },
  }
}

function tooMany(states: number, most: readonly string[]): string {
  const facts = most.length === 0 ? '' : ` Most is told apart of ${most.join(', ')}.`
  return `More than ${states} states: not all were walked, so nothing is proved here.${facts} Ask fewer questions whose answers are read much later, or read them sooner.`
}
