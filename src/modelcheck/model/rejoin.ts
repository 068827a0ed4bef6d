/**
 * Where a step on the path routes another way by now, and that way comes back to a step the path has passed ("joins" it),
 * a replay goes on from there as it went before: every step after the join reads what it read then. So talk stays where it
 * stands, and no answer that was given after the join has to be kept for it. What the path had between the two is taken
 * back. Here is worked out, for a step and a join, whether that holds.
 */

import { leadingTo, previousIn, reachedFrom, type StepGraph } from './steps-ahead.ts'
import type { Cell, FlatFlow, FlatNode, Test } from './tables.ts'
import { cellFor, RESUME, STATUS, statusIn } from './tables.ts'

/** The tables as far as they are needed here. */
export type JoinTables = Pick<FlatFlow, 'nodes' | 'alarms' | 'cells' | 'hazardous' | 'sticky' | 'turning' | 'fieldOf'>

/** What is no longer on the path when talk turns at a step and joins the path again. */
export interface Rejoin {
  /** Turning steps and joins between the two, by their places in `turning` and `joins`. */
  readonly turnings: readonly number[]
  readonly joins: readonly number[]
  /** Answers that are on record from now on, and no longer on the path. */
  readonly recorded: readonly number[]
  /** Hazardous advice that is no longer in force. */
  readonly hazards: readonly number[]
  /** Answers of which it is not known whether they are on the path or only on record, with the steps that would tell. */
  readonly doubtful: readonly Doubtful[]
}

export interface Doubtful {
  readonly field: number
  /** None of these may lie ahead. */
  readonly readers: readonly number[]
}

/** A step that a way passes without asking, deciding, setting, or hazardous advice. */
export function isPassing(node: FlatNode, hazardous: readonly string[]): boolean {
  return (
    node.ask < 0 &&
    !node.rests &&
    !node.isEmergency &&
    node.decides === 0 &&
    node.sets.length === 0 &&
    node.alarms.length === 0 &&
    node.cancels.length === 0 &&
    !node.says.some(id => hazardous.includes(id))
  )
}

/** Steps at which ways from a step end, once they are past every step that is only passed; and those passed. */
export function waysFrom(
  { nodes, hazardous }: Pick<FlatFlow, 'nodes' | 'hazardous'>,
  from: number,
): { readonly ends: readonly number[]; readonly passed: readonly number[] } {
  const ends = new Set<number>()
  const passed = new Set<number>()
  const queue = [from]
  for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
    const node = nodes[at]
    if (node === undefined || !isPassing(node, hazardous)) ends.add(at)
    else if (!passed.has(at)) {
      passed.add(at)
      for (const { go } of node.rows) queue.push(go)
    }
  }
  return { ends: [...ends], passed: [...passed] }
}

/** Facts that are history, in the order of the bits of `unset`. */
export const historyOf = ({ sticky }: Pick<FlatFlow, 'sticky'>): readonly number[] =>
  [...sticky].toSorted((a, b) => a - b)

/** Steps at which a turn may join the path again: where it could be shown of at least one turning step. */
export function joinsOf(tables: JoinTables): readonly number[] {
  const passable = passableIn(tables, 2 ** tables.sticky.size - 1)
  const ends = new Map(
    tables.turning.map(at => [
      at,
      (tables.nodes[at]?.rows ?? []).flatMap(({ go }) => (go === RESUME ? [] : waysFrom(tables, go).ends)),
    ]),
  )
  const joins = new Set<number>()
  for (const [at, each] of ends)
    for (const join of each)
      if (join !== RESUME && rejoinAt(tables, passable, [], at, join) !== undefined) joins.add(join)
  return [...joins].toSorted((a, b) => a - b)
}

/** By turning step, join, and facts of history that are unset (one bit each), made when it is asked for. */
export function rejoinsIn(flat: FlatFlow): (turning: number, join: number, unset: number) => Rejoin | undefined {
  const known = new Map<number, Rejoin | null>()
  const histories = 2 ** flat.sticky.size
  const passables = new Map<number, Passable>()
  return (turning, join, unset) => {
    const key = (turning * flat.joins.length + join) * histories + unset
    const found = known.get(key)
    if (found !== undefined) return found ?? undefined
    const passable = passables.get(unset) ?? passableIn(flat, unset)
    passables.set(unset, passable)
    const made = rejoinAt(flat, passable, flat.joins, flat.turning[turning] as number, flat.joins[join] as number)
    known.set(key, made ?? null)
    return made
  }
}

/** The steps and rows that can have been passed while some facts of history are unset. */
interface Passable {
  readonly graph: StepGraph
  readonly previous: readonly (readonly number[])[]
  readonly isOpen: (node: number) => boolean
}

/** @param unset  facts of history that are not set, one bit each: no step that sets one and no row that wants one was passed */
function passableIn(tables: JoinTables, unset: number): Passable {
  const history = historyOf(tables)
  const isUnset = (field: number) => history.some((each, bit) => each === field && (unset >> bit) % 2 !== 0)
  const isWanted = (test: Test) => test.fields.length === 1 && isUnset(test.fields[0] as number) && test.table[0] === 0
  const nodes = tables.nodes.map(node => ({
    ...node,
    rows: node.rows.filter(row => !row.tests.some(isWanted)),
  }))
  const graph = { nodes, alarms: tables.alarms }
  return {
    graph,
    previous: previousIn(graph),
    isOpen: node => !(nodes[node]?.sets ?? []).some(({ field }) => isUnset(field)),
  }
}

/**
 * What a turn takes back that leaves the path at a step and joins it at another; undefined where it is not shown that the
 * path is the same from the join on.
 */
function rejoinAt(
  tables: JoinTables,
  passable: Passable,
  joins: readonly number[],
  at: number,
  join: number,
): Rejoin | undefined {
  const { nodes, cells, turning } = tables
  const { graph, previous, isOpen } = passable
  if (!isOpen(join) || !isOpen(at)) return undefined
  const toJoin = leadingTo(previous, join, isOpen)
  const between = [...reachedFrom(graph, [at], isOpen)].filter(node => node !== join && toJoin.has(node))
  const after = new Set([join, ...reachedFrom(graph, [join], isOpen)])
  // The join lies behind the step for good: its order on the path is certain.
  if (after.has(at) || between.some(node => after.has(node))) return undefined
  const before = new Set([at, ...leadingTo(previous, at, isOpen)])
  // What lies between may not have been passed before the step, or it would still be on the path.
  if (between.some(node => node !== at && before.has(node))) return undefined
  const inBetween = between.map(node => nodes[node] as FlatNode)
  const joined = nodes[join] as FlatNode
  if (inBetween.some(node => node.decides > joined.decides)) return undefined
  if (inBetween.some(node => node.sets.some(({ field }) => !tables.sticky.has(field)))) return undefined
  if (
    !alarmsAgree(
      inBetween,
      joined,
      [...before].map(node => nodes[node] as FlatNode),
    )
  )
    return undefined

  const saidIn = (some: Iterable<number>) => new Set([...some].flatMap(node => nodes[node]?.says ?? []))
  const hazards = tables.hazardous.flatMap((id, hazard) => (saidIn(between).has(id) ? [hazard] : []))
  const elsewhere = new Set([...saidIn(before), ...saidIn(after)])
  if (hazards.some(hazard => elsewhere.has(tables.hazardous[hazard] ?? ''))) return undefined

  const asked = new Set(inBetween.flatMap(({ ask }) => (ask < 0 || ask === nodes[at]?.ask ? [] : [ask])))
  if (['out-since', 'travel'].some(fact => asked.has(tables.fieldOf.get(fact) ?? -1))) return undefined
  const isAskedIn = (field: number, some: Iterable<number>) => [...some].some(node => nodes[node]?.ask === field)
  const reads = (node: number, field: number, isWhole: boolean) => {
    const { ask, observed } = nodes[node] as FlatNode
    const rows = graph.nodes[node]?.rows ?? []
    const tests = [...rows.flatMap(row => row.tests), ...(isWhole ? observed.map(({ test }) => test) : [])]
    return ask !== field && tests.some(test => tellsApart(test, field, cells))
  }
  for (const field of asked) for (const node of after) if (reads(node, field, false)) return undefined
  // Asked elsewhere too, so it is not known here whether it is on the path or only on record: nothing ahead may tell.
  const doubtful = [...asked].filter(field => isAskedIn(field, after) || isAskedIn(field, before))
  const readersOf = (field: number) => nodes.flatMap((_, node) => (reads(node, field, true) ? [node] : []))
  const placesIn = (all: readonly number[]) => all.flatMap((node, place) => (between.includes(node) ? [place] : []))
  return {
    turnings: placesIn(turning),
    joins: placesIn(joins),
    recorded: [...asked].filter(field => !doubtful.includes(field)),
    hazards,
    doubtful: doubtful.map(field => ({ field, readers: readersOf(field) })),
  }
}

/** Alarms of the part that is left out are cancelled at the join, and it cancels no alarm of the part before. */
function alarmsAgree(between: readonly FlatNode[], join: FlatNode, before: readonly FlatNode[]): boolean {
  const isCancelled = (alarm: number) => join.cancels.includes(alarm)
  const setBefore = new Set(before.flatMap(node => node.alarms.map(({ alarm }) => alarm)))
  return (
    between.every(node => node.alarms.every(({ alarm }) => isCancelled(alarm))) &&
    between.every(node => node.cancels.every(alarm => isCancelled(alarm) || !setBefore.has(alarm)))
  )
}

/** Whether a test reads an answer on the path otherwise than one that is only on record. */
function tellsApart(test: Test, field: number, cells: readonly Cell[]): boolean {
  const position = test.fields.indexOf(field)
  const cell = cells[field]
  if (position === -1 || cell === undefined) return false
  const stride = test.strides[position] as number
  const away = (cellFor(cell, STATUS.reached, 0) - cellFor(cell, STATUS.recorded, 0)) * stride
  for (let index = 0; index < test.table.length; index++) {
    const value = Math.floor(index / stride) % cell.size
    const isRecorded = value > 0 && value <= cell.domain.classes.length
    if (isRecorded && test.table[index] !== test.table[index + away]) return true
  }
  return false
}

/** By step, the alarms that it or a step it leads to sets, one bit each. */
export function alarmsSetFrom(flat: FlatFlow): Int32Array {
  const own = (at: number) => (flat.nodes[at]?.alarms ?? []).reduce((bits, { alarm }) => bits | (1 << alarm), 0)
  return Int32Array.from(flat.nodes, (_, at) =>
    [...reachedFrom(flat, [at])].reduce((bits, node) => bits | own(node), own(at)),
  )
}

/** Takes from a state what is no longer on its path. */
export interface TakingBack {
  from(rejoin: Rejoin, state: Int32Array): void
  /** Whether there is anything to take back. */
  changes(rejoin: Rejoin, state: Int32Array): boolean
}

export function takingBack(flat: FlatFlow): TakingBack {
  const { cells, fields: F } = flat
  const isReached = (field: number, state: Int32Array) =>
    statusIn(cells[field] as Cell, state[field] as number) === STATUS.reached
  return {
    from({ turnings, joins, recorded, hazards }, state) {
      for (const index of turnings) {
        state[F.trail + index] = 0
        state[F.decidedAt + index] = 0
      }
      for (const join of joins) state[F.passed + join] = 0
      for (const hazard of hazards) state[F.inForce + hazard] = 0
      for (const field of recorded) {
        const count = cells[field]?.domain.classes.length ?? 0
        if (isReached(field, state)) state[field] = (state[field] as number) - count
      }
    },
    changes: ({ turnings, joins, recorded, hazards }, state) =>
      turnings.some(index => state[F.trail + index] !== 0) ||
      joins.some(join => state[F.passed + join] !== 0) ||
      hazards.some(hazard => state[F.inForce + hazard] !== 0) ||
      recorded.some(field => isReached(field, state)),
  }
}
