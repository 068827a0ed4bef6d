/** A flow as tables of small whole numbers: what the explorer walks and the export to the referee prints. */
import { DISPOSITIONS } from '../../flow/document.ts'
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import { ANY_TIME_STEPS, type Step } from '../../flow/flow-step.ts'
import { type AnswerClass, type Compared, domainsOf, type FactDomain } from './abstract-answers.ts'
import { type CLOCK_FIELDS, type DerivedModel, derivedModels } from './abstract-derived.ts'
import { alarmTargetsOf } from './flow-alarms.ts'
import { joinsOf } from './rejoin.ts'

/** How a record of a fact stands: nothing, on record but not on this path, reached by talk, or told before it was asked. */
export const STATUS = { none: 0, recorded: 1, reached: 2, given: 3 } as const

/**
 * A cell holds status and class of one fact: 0 is nothing; otherwise 1 + (status − 1) × classes + class. Facts set by
 * steps are `reached` or nothing.
 */
export interface Cell {
  readonly fact: string
  readonly domain: FactDomain
  readonly size: number
}

/** A condition on some fields at once: holds where its table has a 1 at Σ value × stride. */
export interface Test {
  /** Fact, derived fact or policy of the flow. */
  readonly on: string
  readonly values: readonly string[]
  readonly fields: readonly number[]
  readonly strides: readonly number[]
  readonly table: Uint8Array
}

export interface FlatRow {
  readonly tests: readonly Test[]
  /** Node index, or `RESUME`. */
  readonly go: number
  /** Position in the step's route; -1 for a plain `go`. */
  readonly row: number
}

export const RESUME = -1

/** An alarm's field: 0 not set, 1 set, or this: it fired and led back, and its step is on the path still. */
export const SPENT = 2

export interface FlatAlarm {
  readonly alarm: number
  /** Moment worked out from answers, or undefined for one counted from the step. */
  readonly moment: string | undefined
}

export interface FlatNode {
  readonly id: string
  readonly step: Step
  readonly isEmergency: boolean
  /** Urgency decided here, 0 none, 5 ambulance. */
  readonly decides: number
  readonly says: readonly string[]
  readonly page: string | undefined
  readonly alarms: readonly FlatAlarm[]
  readonly cancels: readonly number[]
  readonly sets: readonly { readonly field: number; readonly cell: number }[]
  /** Field of the fact asked, or -1. */
  readonly ask: number
  readonly again: boolean
  readonly quiet: boolean
  /** Nothing is asked and talk rests or has ended. */
  readonly rests: boolean
  readonly ends: boolean
  readonly rows: readonly FlatRow[]
  /** Tests that rules make as the step is entered, or while it stands open: what they read is not forgotten on the way here. */
  readonly observed: readonly Test[]
}

export interface FlatFlow {
  readonly concern: string
  readonly flow: Flow
  readonly set: FlowSet
  readonly nodes: readonly FlatNode[]
  readonly nodeOf: ReadonlyMap<string, number>
  readonly start: number
  /** One cell per fact, in field order: field i is cell i. */
  readonly cells: readonly Cell[]
  readonly fieldOf: ReadonlyMap<string, number>
  readonly fields: Fields
  readonly alarms: readonly { readonly name: string; readonly target: number }[]
  readonly alarmOf: ReadonlyMap<string, number>
  /** Ids of advice that carries a hazardous tag: whether it is in force is part of the state. */
  readonly hazardous: readonly string[]
  readonly derived: ReadonlyMap<string, DerivedModel>
  readonly policies: Readonly<Record<string, string>>
  /** Facts a first message may say before they are asked. */
  readonly givable: readonly number[]
  /** Steps whose route can change without an answer being corrected: by time, a follow-up, or an attempt. */
  readonly turning: readonly number[]
  /** Steps at which a way that turned may join the path again. */
  readonly joins: readonly number[]
  /** Facts that are history: a correction leaves them. */
  readonly sticky: ReadonlySet<number>
  /** Urgency may rise above "speak" without the ladder hearing of it: a page that ran out may then still be a "speak" page. */
  readonly isOutpaced: boolean
  /** By alarm: it may lead back to the open question, and nothing but having fired keeps a replay from setting it again. */
  readonly canBeSpent: readonly boolean[]
  /** Every cell of a fact. */
  readonly every: readonly (readonly number[])[]
}

/** Where the fields after the cells stand. */
export interface Fields {
  readonly elapsed: number
  readonly timeLeft: number
  readonly reachable: number
  readonly talk: number
  readonly decided: number
  readonly floor: number
  readonly interrupted: number
  readonly danger: number
  readonly left: number
  readonly paged: number
  readonly ranOut: number
  /** First of one field an alarm: armed or not. */
  readonly armed: number
  /** Alarms that moved talk on, in order: this many fields, each alarm + 1 or 0. */
  readonly fired: number
  readonly firedMost: number
  /** First of one field a hazardous piece of advice: in force or not. */
  readonly inForce: number
  /** Only where talk returns instead of being replayed: the step it returns to, and per turning step the way taken. */
  readonly main: number
  readonly trail: number
  readonly decidedAt: number
  /** First of one field a join: passed on the path or not. */
  readonly passed: number
  /** An alarm moved talk on that was set before a step on the trail: what came between is in no certain order. */
  readonly mixed: number
  readonly count: number
}

/** Urgency as a number: 0 none, 1 at-home … 5 ambulance. */
export const urgencyOf = (id: string | undefined): number =>
  id === undefined ? 0 : DISPOSITIONS.length - DISPOSITIONS.indexOf(id as (typeof DISPOSITIONS)[number])

export const dispositionOf = (urgency: number): string | undefined =>
  urgency === 0 ? undefined : DISPOSITIONS[DISPOSITIONS.length - urgency]

export interface FlattenOptions {
  /** Value of each policy that conditions read; left out: `off`. */
  readonly policies?: Readonly<Record<string, string>>
  readonly settledNeedsChange?: boolean
  /** Answers that nothing tells apart become one. */
  readonly merge?: boolean
  /** Facts that a first message may say. */
  readonly givable?: readonly string[]
  /** What rules compare, and at which steps. */
  readonly observed?: readonly Observation[]
  /** By fact, the only answers a family gives: a part of the flow, for a second opinion that cannot walk all of it. */
  readonly only?: Readonly<Record<string, readonly string[]>>
}

/** A comparison that a rule makes at some steps. */
export interface Observation extends Compared {
  readonly isAt: (step: Step) => boolean
}

/** Facts that change where talk goes before they are asked, if the first message has said them. */
const GIVABLE = ['in-opening', 'device', 'out-since'] as const

/** Compiles a flow for one setting of the policies. @throws when a condition reads a derived fact that has no model */
export function flatten(flow: Flow, set: FlowSet, options: FlattenOptions = {}): FlatFlow {
  const { merge = true, settledNeedsChange = true, givable = GIVABLE, observed = [] } = options
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
  const drafted = fieldsAfter(cells.length, targets.length, hazardous.length, 0, 0)
  const context: Context = { set, cells, fieldOf, fields: drafted, derived, policies, nodeOf, alarmOf }
  const nodes = pruned(
    [...flow.steps.values()].map(step => nodeFor(step, context)),
    context,
    flow,
  ).map(node => ({ ...node, observed: observed.flatMap(each => observedAt(node, each, context)) }))
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
    givable: givable.flatMap(fact => fieldOf.get(fact) ?? []),
    turning,
    joins,
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

/**
 * Rows that can never fit are left out: those that want a value of a fact which no step that can be come to asks or sets.
 * Leaving them out may cut off further steps, so it is done until nothing changes.
 */
function pruned(nodes: readonly FlatNode[], context: Context, flow: Flow): FlatNode[] {
  let now = [...nodes]
  for (;;) {
    const open = reachableNodes(now, context, flow)
    const filled = new Set<number>(['can-travel', 'have-you-left'].flatMap(fact => context.fieldOf.get(fact) ?? []))
    for (const at of open) {
      const node = now[at] as FlatNode
      if (node.ask >= 0) filled.add(node.ask)
      for (const { field } of node.sets) filled.add(field)
    }
    const isFilled = (field: number) => field >= context.cells.length || filled.has(field)
    const canFit = (test: Test) => !test.fields.every(field => !isFilled(field)) || test.table[0] === 1
    let cut = 0
    now = now.map((node, at) => {
      const rows = open.has(at) ? node.rows.filter(row => row.tests.every(canFit)) : []
      cut += node.rows.length - rows.length
      return rows.length === node.rows.length ? node : { ...node, rows }
    })
    if (cut === 0) return now
  }
}

/** Steps that can be come to: by routes, by alarms, and at any moment. */
function reachableNodes(nodes: readonly FlatNode[], context: Context, flow: Flow): Set<number> {
  const own = new Set(nodes.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  const isOwn = (name: string) => own.has(context.alarmOf.get(name) ?? -1)
  const side = [...alarmTargetsOf(flow)].filter(([name]) => !isOwn(name)).map(([, target]) => target)
  return leadingOn(nodes, [flow.start, ...ANY_TIME_STEPS, ...side], context, flow)
}

/** Steps that routes and alarms lead to from some. */
function leadingOn(nodes: readonly FlatNode[], from: readonly string[], { nodeOf }: Context, flow: Flow): Set<number> {
  const targets = alarmTargetsOf(flow)
  const queue = from.flatMap(id => nodeOf.get(id) ?? [])
  const open = new Set<number>()
  const names = [...targets.values()]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    if (open.has(at)) continue
    open.add(at)
    const node = nodes[at] as FlatNode
    for (const row of node.rows) if (row.go !== RESUME) queue.push(row.go)
    for (const { alarm } of node.alarms) queue.push(nodeOf.get(names[alarm] ?? '') ?? at)
  }
  return open
}

/**
 * Whether a step that decides more than "speak" and pages nobody anew (no page, or a reason that may be known by then) can
 * be come to without passing one that decides as much and pages. A page of an interruption always goes out.
 */
function isOutpaced(nodes: readonly FlatNode[], context: Context, flow: Flow): boolean {
  const speak = urgencyOf('speak')
  const onPath = leadingOn(nodes, [flow.start], context, flow)
  const reasons = nodes.flatMap((node, at) => (onPath.has(at) ? (node.page ?? []) : []))
  const isHeard = (node: FlatNode) =>
    node.page !== undefined &&
    reasons.filter(each => each === node.page).length <= (onPath.has(nodes.indexOf(node)) ? 1 : nodes.length)
  const raises = nodes.filter(node => node.decides > speak && !node.isEmergency && !isHeard(node))
  return raises.some(late => {
    const open = nodes.map(node =>
      node !== late && node.decides >= late.decides && isHeard(node) ? { ...node, rows: [], alarms: [] } : node,
    )
    return reachableNodes(open, context, flow).has(nodes.indexOf(late))
  })
}

/** Facts that change without a correction: asked again, said by the way, set for good by a step, or moved by time. */
function changingFields(nodes: readonly FlatNode[], { cells, fieldOf, fields }: Context): Set<number> {
  const again = nodes.filter(node => node.again).map(node => node.ask)
  const byTheWay = ['can-travel', 'have-you-left'].flatMap(fact => fieldOf.get(fact) ?? [])
  const sticky = cells.flatMap((cell, field) => (cell.domain.document.sticky === true ? [field] : []))
  return new Set([...again, ...byTheWay, ...sticky, fields.elapsed, fields.timeLeft])
}

interface Context {
  readonly set: FlowSet
  readonly cells: readonly Cell[]
  readonly fieldOf: ReadonlyMap<string, number>
  readonly fields: Fields
  readonly derived: ReadonlyMap<string, DerivedModel>
  readonly policies: Readonly<Record<string, string>>
  readonly nodeOf: ReadonlyMap<string, number>
  readonly alarmOf: ReadonlyMap<string, number>
}

function observedAt(node: FlatNode, { on, values, isAt }: Observation, context: Context): Test[] {
  if (context.policies[on] !== undefined || !isAt(node.step)) return []
  const test = testFor(on, values, context)
  return test.fields.length === 0 ? [] : [test]
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

/** Sizes of all fields, in order. */
export function fieldSizes(flat: FlatFlow): number[] {
  const { fields } = flat
  const sizes = flat.cells.map(cell => cell.size)
  sizes[fields.elapsed] = 3
  sizes[fields.timeLeft] = 2
  sizes[fields.reachable] = 2
  sizes[fields.talk] = flat.nodes.length
  sizes[fields.decided] = DISPOSITIONS.length + 1
  sizes[fields.floor] = DISPOSITIONS.length + 1
  for (const field of [fields.interrupted, fields.danger, fields.left, fields.paged, fields.ranOut]) sizes[field] = 2
  for (let alarm = 0; alarm < flat.alarms.length; alarm++)
    sizes[fields.armed + alarm] = flat.canBeSpent[alarm] === true ? 3 : 2
  for (let at = 0; at < fields.firedMost; at++) sizes[fields.fired + at] = flat.alarms.length + 1
  for (let at = 0; at < flat.hazardous.length; at++) sizes[fields.inForce + at] = 2
  sizes[fields.main] = flat.nodes.length
  flat.turning.forEach((node, at) => {
    sizes[fields.trail + at] = 1 + (flat.nodes[node]?.rows.length ?? 0)
    sizes[fields.decidedAt + at] = DISPOSITIONS.length + 1
  })
  for (let at = fields.passed; at <= fields.mixed; at++) sizes[at] = 2
  return sizes
}

const isSet = (domain: FactDomain): boolean => domain.document.settable === true

const cellSize = (domain: FactDomain): number =>
  isSet(domain) ? 1 + domain.classes.length : 1 + 3 * domain.classes.length

/** The cell of a class; for a fact set by steps the status is left out. */
export function cellFor(cell: Cell, status: number, classIndex: number): number {
  return isSet(cell.domain) ? 1 + classIndex : 1 + (status - 1) * cell.domain.classes.length + classIndex
}

export function statusIn(cell: Cell, value: number): number {
  if (value === 0) return STATUS.none
  return isSet(cell.domain) ? STATUS.reached : 1 + Math.floor((value - 1) / cell.domain.classes.length)
}

export function classIn(cell: Cell, value: number): AnswerClass | undefined {
  return value === 0 ? undefined : cell.domain.classes[(value - 1) % cell.domain.classes.length]
}

/** The class a condition sees: none while talk has not reached the fact. */
export function seenIn(cell: Cell, value: number): AnswerClass | undefined {
  return statusIn(cell, value) >= STATUS.reached ? classIn(cell, value) : undefined
}

function nodeFor(step: Step, context: Context): FlatNode {
  const { fieldOf, nodeOf, alarmOf } = context
  return {
    id: step.id,
    step,
    isEmergency: step.id.startsWith('shared/emergency'),
    decides: urgencyOf(step.decide),
    says: step.say ?? [],
    page: step.page,
    alarms: step.alarms.map(alarm => ({ alarm: must(alarmOf, alarm.name), moment: alarm.at })),
    cancels: (step.cancel ?? []).flatMap(name => alarmOf.get(name) ?? []),
    sets: Object.entries(step.set ?? {}).map(([fact, value]) => settingOf(fact, value, context)),
    ask: step.ask === undefined ? -1 : must(fieldOf, step.ask),
    again: step.again === true,
    quiet: step.quiet === true,
    rests: step.wait === true || step.end === true,
    ends: step.end === true,
    rows: step.rows.flatMap((row, index) => {
      const tests = testsFor(row.if, context)
      return tests === undefined ? [] : [{ tests, go: row.go === 'resume' ? RESUME : must(nodeOf, row.go), row: index }]
    }),
    observed: [],
  }
}

function settingOf(fact: string, value: string, { fieldOf, cells }: Context) {
  const field = must(fieldOf, fact)
  const cell = cells[field] as Cell
  const index = cell.domain.classes.findIndex(answer => answer.members.includes(value))
  if (index === -1) throw new Error(`fact "${fact}" cannot be set to "${value}"`)
  return { field, cell: cellFor(cell, STATUS.reached, index) }
}

/** Tests of one row; undefined when a policy already rules it out. */
function testsFor(condition: Readonly<Record<string, readonly string[]>>, context: Context): Test[] | undefined {
  const tests: Test[] = []
  for (const [on, values] of Object.entries(condition)) {
    const policy = context.policies[on]
    if (policy !== undefined) {
      if (!values.includes(policy)) return undefined
      continue
    }
    tests.push(testFor(on, values, context))
  }
  return tests
}

/**
 * A test of one fact or derived fact against listed values; also what rules are compiled to.
 *
 * @throws for a derived fact that has no model here: what hangs on it cannot be walked
 */
export function testFor(
  on: string,
  values: readonly string[],
  context: Pick<Context, 'cells' | 'fieldOf' | 'fields' | 'derived' | 'set'>,
): Test {
  const field = context.fieldOf.get(on)
  if (field !== undefined) {
    const cell = context.cells[field] as Cell
    const table = Uint8Array.from({ length: cell.size }, (_, value) => {
      const seen = seenIn(cell, value)
      return Number(seen === undefined ? values.includes('not-asked') : values.some(each => seen.literals.has(each)))
    })
    return { on, values, fields: [field], strides: [1], table }
  }
  const model = context.derived.get(on)
  if (model === undefined && context.set.derived[on] !== undefined)
    throw new Error(
      `"${on}" is worked out from what no model of the checker knows; conditions cannot be walked with it`,
    )
  // A fact that this flow never asks, sets or works out stays unknown.
  if (model === undefined)
    return { on, values, fields: [], strides: [], table: Uint8Array.of(Number(values.includes('not-asked'))) }
  return derivedTest(on, values, model, context)
}

function derivedTest(
  on: string,
  values: readonly string[],
  model: DerivedModel,
  { cells, fieldOf, fields }: Pick<Context, 'cells' | 'fieldOf' | 'fields'>,
): Test {
  const factFields = model.facts.flatMap(fact => fieldOf.get(fact) ?? [])
  const clockFields = model.clock.map(field => clockField(fields, field))
  const all = [...factFields, ...clockFields]
  const sizes = [...factFields.map(field => (cells[field] as Cell).size), ...model.clock.map(clockSize)]
  const strides: number[] = []
  let length = 1
  for (const size of sizes) {
    strides.push(length)
    length *= size
  }
  const table = Uint8Array.from({ length }, (_, index) => {
    const at = (field: number) => {
      const position = all.indexOf(field)
      return Math.floor(index / (strides[position] as number)) % (sizes[position] as number)
    }
    const value = model.value({
      band: fact => {
        const field = fieldOf.get(fact)
        return field === undefined ? undefined : seenIn(cells[field] as Cell, at(field))?.band
      },
      clock: field => at(clockField(fields, field)),
    })
    return Number(values.includes(value))
  })
  return { on, values, fields: all, strides, table }
}

const clockField = (fields: Fields, field: (typeof CLOCK_FIELDS)[number]): number =>
  field === 'elapsed' ? fields.elapsed : field === 'time-left' ? fields.timeLeft : fields.reachable

const clockSize = (field: (typeof CLOCK_FIELDS)[number]): number => (field === 'elapsed' ? 3 : 2)

/** Whether a test holds in a state given as one number a field. */
export function holds(test: Test, state: Int32Array): boolean {
  let index = 0
  for (let i = 0; i < test.fields.length; i++)
    index += (state[test.fields[i] as number] as number) * (test.strides[i] as number)
  return test.table[index] === 1
}

function must<T>(map: ReadonlyMap<string, T>, id: string): T {
  const value = map.get(id)
  if (value === undefined) throw new Error(`"${id}" is in no table of this flow`)
  return value
}
