/** A flow as tables of small whole numbers: what the explorer walks and the export to the referee prints. */
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import { domainsOf, type FactDomain } from './abstract-answers.ts'
import { derivedModels } from './abstract-derived.ts'
import { marksOf, must, type NodeContext, nodeFor, type Observation, observedAt } from './flat-nodes.ts'
import { isOutpaced, leadingOn, pruned } from './flat-open.ts'
import { alarmTargetsOf } from './flow-alarms.ts'
import { ALWAYS_SAYABLE, type Sayable } from './givable.ts'
import { joinsOf } from './rejoin.ts'
import { type Cell, cellSize, type Fields, type FlatFlow, type FlatNode, RESUME } from './tables.ts'

export interface FlattenOptions {
  /** Value of each policy that conditions read; left out: `off`. */
  readonly policies?: Readonly<Record<string, string>>
  readonly settledNeedsChange?: boolean
  /** Answers that nothing tells apart become one. */
  readonly merge?: boolean
  /** What a first message may say. */
  readonly givable?: Sayable
  /** What rules compare, and at which steps. */
  readonly observed?: readonly Observation[]
  /** By fact, the only answers a family gives: a part of the flow, for a second opinion that cannot walk all of it. */
  readonly only?: Readonly<Record<string, readonly string[]>>
}

/** Compiles a flow for one setting of the policies. @throws when a condition reads a derived fact that has no model */
export function flatten(flow: Flow, set: FlowSet, options: FlattenOptions = {}): FlatFlow {
  const { merge = true, settledNeedsChange = true, givable = ALWAYS_SAYABLE, observed = [] } = options
  const policies = { ...Object.fromEntries(Object.keys(set.policies).map(id => [id, 'off'])), ...options.policies }
  const domains = domainsOf(flow, set, merge, observed).map(domain => given(domain, options.only?.[domain.fact]))
  const cells = domains.map(domain => ({ fact: domain.fact, domain, size: cellSize(domain) }))
  const fieldOf = new Map(cells.map((cell, field) => [cell.fact, field]))
  const derived = derivedModels({ settledNeedsChange })
  const ids = [...flow.steps.keys()]
  const nodeOf = new Map(ids.map((id, index) => [id, index]))
  const targets = [...alarmTargetsOf(flow)]
  const alarmOf = new Map(targets.map(([name], index) => [name, index]))
  const hazardous = hazardousAdvice(flow, set)
  const { marks, bitsOf } = marksOf(observed)
  const drafted = fieldsAfter(cells.length, targets.length, hazardous.length, 0, 0)
  const context: NodeContext = { set, cells, fieldOf, fields: drafted, derived, policies, nodeOf, alarmOf }
  const nodes = pruned(
    [...flow.steps.values()].map(step => nodeFor(step, context)),
    context,
    flow,
  ).map(node => ({ ...node, observed: observed.flatMap(each => observedAt(node, each, context, bitsOf)) }))
  const changing = changingFields(nodes, context)
  const isTurning = (node: FlatNode) =>
    node.rows.some(row => row.tests.some(test => test.fields.some(field => changing.has(field))))
  const turning = nodes.flatMap((node, index) => (isTurning(node) ? [index] : []))
  const sticky = new Set(cells.flatMap((cell, field) => (cell.domain.document.sticky === true ? [field] : [])))
  const alarms = targets.map(([name, target]) => ({ name, target: must(nodeOf, target) }))
  const joins = joinsOf({ nodes, alarms, cells, hazardous, sticky, turning, fieldOf })
  const fields = fieldsAfter(cells.length, targets.length, hazardous.length, turning.length, joins.length)
  return {
    concern: flow.concern,
    flow,
    set,
    nodes,
    nodeOf,
    start: must(nodeOf, flow.start),
    cells,
    fieldOf,
    fields,
    alarms,
    alarmOf,
    hazardous,
    derived,
    policies,
    givable: [...givable].flatMap(([fact, values]) => {
      const field = fieldOf.get(fact)
      return field === undefined ? [] : [{ field, classes: classesSaid(cells[field] as Cell, values) }]
    }),
    turning,
    joins,
    marks,
    sticky,
    isOutpaced: isOutpaced(nodes, context, flow),
    canBeSpent: targets.map(([, target], alarm) => {
      const moments = nodes.flatMap(node => node.alarms.filter(each => each.alarm === alarm).map(each => each.moment))
      const comesBack = [...leadingOn(nodes, [target], context, flow)].some(at =>
        nodes[at]?.rows.some(row => row.go === RESUME),
      )
      return comesBack && moments.some(moment => moment === undefined || moment === 'arrival')
    }),
    every: cells.map(cell => Array.from({ length: cell.size }, (_, value) => value)),
  }
}

function given(domain: FactDomain, only: readonly string[] | undefined): FactDomain {
  if (only === undefined) return domain
  const classes = domain.classes.filter(({ members }) => members.some(member => only.includes(member)))
  if (classes.length === 0) throw new Error(`no answer is left of fact "${domain.fact}": ${only.join(', ')}`)
  return { ...domain, classes }
}

/** Facts that change without a correction: asked again, said by the way, set for good by a step, or moved by time. */
function changingFields(nodes: readonly FlatNode[], { cells, fieldOf, fields }: NodeContext): Set<number> {
  const again = nodes.filter(node => node.again).map(node => node.ask)
  const byTheWay = ['can-travel', 'have-you-left'].flatMap(fact => fieldOf.get(fact) ?? [])
  const sticky = cells.flatMap((cell, field) => (cell.domain.document.sticky === true ? [field] : []))
  return new Set([...again, ...byTheWay, ...sticky, fields.elapsed, fields.timeLeft])
}

const FIRED_MOST = 6

/** Advice said in this flow that makes someone do a hazardous act. */
function hazardousAdvice(flow: Flow, set: FlowSet): string[] {
  const said = new Set([...flow.steps.values()].flatMap(step => step.say ?? []))
  const isHazardous = (id: string) => (flow.advice.get(id)?.tags ?? []).some(tag => set.tags[tag]?.hazardous === true)
  return [...said].filter(isHazardous)
}

function fieldsAfter(cells: number, alarms: number, hazardous: number, turning: number, joins: number): Fields {
  const armed = cells + 11
  const fired = armed + alarms
  const main = fired + FIRED_MOST + hazardous
  return {
    elapsed: cells,
    timeLeft: cells + 1,
    reachable: cells + 2,
    talk: cells + 3,
    decided: cells + 4,
    floor: cells + 5,
    interrupted: cells + 6,
    danger: cells + 7,
    left: cells + 8,
    paged: cells + 9,
    ranOut: cells + 10,
    armed,
    fired,
    firedMost: FIRED_MOST,
    inForce: fired + FIRED_MOST,
    main,
    trail: main + 1,
    decidedAt: main + 1 + turning,
    passed: main + 1 + 2 * turning,
    mixed: main + 1 + 2 * turning + joins,
    count: main + 2 + 2 * turning + joins,
  }
}

/** Classes of a fact that words may say: every one, or those of certain values. */
function classesSaid({ domain }: Cell, values: readonly string[] | undefined): readonly number[] {
  const isSaid = (member: string): boolean =>
    values === undefined || member.split('+').every(value => values.includes(value))
  return domain.classes.flatMap(({ members }, index) => (members.some(isSaid) ? [index] : []))
}
