/**
 * Which answers can still matter. An answer that no condition ahead can tell from another is replaced by that other, one
 * that nothing ahead reads or asks is forgotten. What lies ahead: the steps that routes and alarms lead to from where talk
 * stands and from where it would return to, every step that can be entered at any moment, and, since talk may take another
 * way there when it returns, everything that follows the turning steps on its trail.
 */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'
import {
  type Cell,
  type FlatFlow,
  type FlatNode,
  type FlatRow,
  fieldSizes,
  RESUME,
  STATUS,
  seenIn,
  statusIn,
  type Test,
  urgencyOf,
} from './flat-flow.ts'
import { laterFields, nextOf } from './flat-step.ts'

/** Puts in place of a state the one that stands for all with the same future. */
export type Canonical = (state: Int32Array) => void

/** For talk that returns (`resume: 'return'`). */
export function canonicalIn(flat: FlatFlow): Canonical {
  const { nodes, fields: F, cells } = flat
  const turnsCount = flat.turning.length
  const standingOf = standings(flat)
  const turns = flat.turning.map(at => nodes[at]?.rows ?? [])
  const changes = changesIn(flat)
  /** A step on the trail does not see what is asked after it, unless the first message said it. */
  const mayBeAt = laterFields(flat).map((later): MayBe => {
    const isLater = new Set(later)
    return (field, state, standing, settings) => {
      const values = changes(field, state, standing, settings)
      if (values.length > 1 || !isLater.has(field)) return values
      return statusIn(cells[field] as Cell, values[0] ?? 0) === STATUS.given ? values : NOTHING
    }
  })
  const clocks = [F.elapsed, F.timeLeft, F.reachable]

  /** What cannot lower or raise anything any more is put to nothing. */
  function settleUrgency(state: Int32Array): void {
    const floor = state[F.floor] as number
    if (floor >= (state[F.decided] as number)) state[F.decided] = 0
    for (let index = 0; index < turnsCount; index++)
      if (floor >= (state[F.decidedAt + index] as number)) state[F.decidedAt + index] = 0
    if (!mayRunOut(flat, state)) state[F.ranOut] = 0
  }

  /** The other rows by which a step on the trail may come to route, one bit each. */
  function othersOf(index: number, taken: number, state: Int32Array, standing: Standing, settings: number): number {
    const rows = turns[index] as readonly FlatRow[]
    const mayBe = mayBeAt[index] as MayBe
    let others = 0
    for (let at = 0; at < rows.length; at++) {
      const row = rows[at] as FlatRow
      let may = true
      let must = true
      for (const test of row.tests) {
        const seen = outcomes(test, state, standing, settings, mayBe)
        if ((seen & HOLDS) === 0) {
          may = false
          break
        }
        if ((seen & FAILS) !== 0) must = false
      }
      if (!may) continue
      if (row.go !== RESUME && row.go !== taken) others |= 1 << at
      // The first row that fits is taken: what stands below one that surely fits is not.
      if (must) break
    }
    return others
  }

  const others = new Int32Array(turnsCount)

  /**
   * For every step on the trail the rows it may turn to. A way it may turn to may set for good what another step reads, so
   * it is looked at again until no further setting comes to lie ahead.
   */
  function waysOf(state: Int32Array, standing: Standing): Ways {
    let settings = standing.settings
    for (;;) {
      let ways = standing.ways
      for (let index = 0; index < turnsCount; index++) {
        const row = state[F.trail + index] as number
        others[index] = row === 0 ? 0 : othersOf(index, turns[index]?.[row - 1]?.go ?? RESUME, state, standing, settings)
        if (others[index] !== 0) ways = wayOn(ways, index, others[index] as number)
      }
      const further = settings | (ways.settings ?? standing.settingsOf(ways))
      if (further === settings) return ways
      settings = further
    }
  }

  return state => {
    settleUrgency(state)
    const standing = standingOf(state)
    if (standing.isHeld) state[F.main] = flat.start
    const ways = waysOf(state, standing)
    for (let index = 0; index < turnsCount; index++) {
      // A step that cannot turn any more is no longer on the trail.
      if (others[index] !== 0) continue
      state[F.trail + index] = 0
      state[F.decidedAt + index] = 0
    }
    const maps = ways.maps ?? standing.mapsOf(ways)
    for (let field = 0; field < cells.length; field++)
      state[field] = (maps[field] as Int32Array)[state[field] as number] as number
    for (let at = 0; at < clocks.length; at++) {
      const field = clocks[at] as number
      state[field] = (maps[cells.length + at] as Int32Array)[state[field] as number] as number
    }
  }
}

/** Steps on the trail that may turn, and the rows they may turn to; a tree, so that each set is made once. */
interface Ways {
  readonly on: readonly { readonly index: number; readonly rows: number }[]
  readonly further: Map<number, Ways>
  maps: readonly Int32Array[] | undefined
  /** Settings for good that lie ahead on these ways, one bit each. */
  settings: number | undefined
}

const noWays = (): Ways => ({ on: [], further: new Map(), maps: undefined, settings: undefined })

function wayOn(ways: Ways, index: number, rows: number): Ways {
  const key = index * 65_536 + rows
  const known = ways.further.get(key)
  if (known !== undefined) return known
  const made: Ways = { on: [...ways.on, { index, rows }], further: new Map(), maps: undefined, settings: undefined }
  ways.further.set(key, made)
  return made
}

/** Where talk stands, and what that leaves open. */
interface Standing {
  /** By field: whether it may be asked anew. */
  readonly changes: readonly boolean[]
  /** In an emergency that only a wrong tap ends: talk does not go on from where it stood before. */
  readonly isHeld: boolean
  /** Settings for good that lie ahead, one bit each. */
  readonly settings: number
  readonly settingsOf: (ways: Ways) => number
  readonly ways: Ways
  readonly mapsOf: (ways: Ways) => readonly Int32Array[]
}

/** Standings by where talk stands, where it returns to, and which alarms may still fire. */
function standings(flat: FlatFlow): (state: Int32Array) => Standing {
  const { nodes, fields: F, cells } = flat
  const sizes = fieldSizes(flat)
  const ahead = aheadIn(flat)
  const alarmsAhead = alarmsStillIn(flat)
  const isHeldIn = heldIn(flat)
  const inert = inertNodes(flat)
  const moments = momentTests(flat)
  const turns = flat.turning.map(at => nodes[at]?.rows ?? [])
  const known = new Map<number, Standing>()
  const settingsAt = settingsIn(flat)

  function make(state: Int32Array, alarms: number, isHeld: boolean): Standing {
    const talk = state[F.talk] as number
    const next = isHeld ? ahead([talk], 0, true) : ahead([talk, state[F.main] as number], alarms, true)
    const asked = new Set([...next].flatMap(at => nodes[at]?.ask ?? []))
    const isAskedAgain = (field: number) => [...next].some(at => nodes[at]?.again === true && nodes[at]?.ask === field)
    const waiting = flat.alarms.flatMap((_, alarm) =>
      isHeld || (alarms >> alarm) % 2 === 0 ? [] : (moments.get(alarm) ?? []),
    )

    const againOn = (ways: Ways) =>
      ahead(
        ways.on.flatMap(({ index, rows }) =>
          (turns[index] ?? []).flatMap(({ go }, row) => ((rows >> row) % 2 === 0 ? [] : [go])),
        ),
        0,
        false,
      )
    const settingsOf = (ways: Ways): number => {
      ways.settings = settingsAt(againOn(ways))
      return ways.settings
    }

    function mapsOf(ways: Ways): readonly Int32Array[] {
      const again = againOn(ways)
      const tests: Test[] = [...waiting]
      for (const { index } of ways.on) for (const row of turns[index] ?? []) tests.push(...row.tests)
      const askedToo = new Set(asked)
      for (const at of new Set([...next, ...again])) {
        const node = nodes[at] as FlatNode
        if (node.ask >= 0) askedToo.add(node.ask)
        tests.push(...node.observed)
        for (const { alarm } of node.alarms) tests.push(...(moments.get(alarm) ?? []))
        const isPassed = !next.has(at) && inert.has(at)
        for (const row of node.rows)
          for (const test of row.tests)
            if (!isPassed || test.fields.some(field => flat.givable.includes(field))) tests.push(test)
      }
      const own = cells.map((cell, field) =>
        mapOf({ cell, field, tests, isAsked: askedToo.has(field), isAskedOnWay: asked.has(field), sizes }),
      )
      const isWayAsked = askedToo.has(flat.fieldOf.get('travel') ?? -1)
      const clocks = [F.elapsed, F.timeLeft, F.reachable].map(field => clockMap(field, tests, sizes))
      if (isWayAsked) clocks[0] = Int32Array.from({ length: sizes[F.elapsed] as number }, (_, value) => value)
      ways.maps = [...own, ...clocks]
      return ways.maps
    }
    return {
      changes: cells.map((_, field) => isAskedAgain(field)),
      isHeld,
      settings: settingsAt(next),
      settingsOf,
      ways: noWays(),
      mapsOf,
    }
  }

  return state => {
    const alarms = alarmsAhead(state)
    const isHeld = isHeldIn(state)
    const key =
      ((alarms * 2 + Number(isHeld)) * nodes.length + (state[F.talk] as number)) * nodes.length +
      (isHeld ? 0 : (state[F.main] as number))
    const found = known.get(key)
    if (found !== undefined) return found
    const standing = make(state, alarms, isHeld)
    known.set(key, standing)
    return standing
  }
}

/**
 * Whether talk rests in the emergency steps and nothing that can come at any moment opens a question: what is said comes
 * back there, until a wrong tap clears the answers. Alarms are held, and no question of the path is answered.
 */
function heldIn(flat: FlatFlow): (state: Int32Array) => boolean {
  const { nodes, fields: F } = flat
  const anyTime = aheadIn(flat)([], 0, true)
  const asks = [...anyTime].filter(at => (nodes[at]?.ask ?? -1) >= 0)
  const isAgain = asks.some(at => nodes[at]?.again === true)
  return state => {
    const node = nodes[state[F.talk] as number] as FlatNode
    if (!node.isEmergency || !node.rests || isAgain || state[F.danger] !== 1 || state[F.interrupted] !== 1) return false
    return asks.every(at => state[nodes[at]?.ask ?? -1] !== 0)
  }
}

/** What an alarm at a moment reads: whether the moment is unknown (0), ahead (1) or past (2). */
function momentTests(flat: FlatFlow): ReadonlyMap<number, readonly Test[]> {
  const { cells, fields: F, fieldOf } = flat
  const found = new Map<number, readonly Test[]>()
  const out = fieldOf.get('out-since') ?? -1
  const way = fieldOf.get('travel') ?? -1
  const isKnown = (field: number, value: number) => seenIn(cells[field] as Cell, value)?.band === 'answered'
  for (const node of flat.nodes)
    for (const { alarm, moment } of node.alarms) {
      if (moment === undefined || moment === 'arrival' || out < 0) continue
      const isLeaveBy = moment === 'leave-by'
      const fields = [out, F.elapsed, ...(isLeaveBy ? [F.timeLeft, ...(way < 0 ? [] : [way])] : [])]
      const sizes = fields.map(field =>
        field === F.elapsed ? 3 : field === F.timeLeft ? 2 : (cells[field] as Cell).size,
      )
      const standsAt = (values: readonly number[]): number => {
        const [outSince = 0, elapsed = 0, timeLeft = 0, travel = 0] = values
        if (!isKnown(out, outSince)) return 0
        if (isLeaveBy) return elapsed === 0 && timeLeft === 1 && way >= 0 && isKnown(way, travel) ? 1 : 2
        return elapsed < (moment === 'closure-overdue' ? 2 : 1) ? 1 : 2
      }
      found.set(alarm, [tabled(`moment ${moment}`, fields, sizes, standsAt)])
    }
  return found
}

function tabled(
  on: string,
  fields: readonly number[],
  sizes: readonly number[],
  value: (values: readonly number[]) => number,
): Test {
  const strides: number[] = []
  let length = 1
  for (const size of sizes) {
    strides.push(length)
    length *= size
  }
  const valuesAt = (index: number) => sizes.map((size, at) => Math.floor(index / (strides[at] as number)) % size)
  return { on, values: [], fields, strides, table: Uint8Array.from({ length }, (_, index) => value(valuesAt(index))) }
}

/**
 * For every value of a clock field the one that stands for it. Time goes one way: elapsed grows in steps of one and time
 * left ends, so only what stays the same from a value on is made one.
 */
function clockMap(field: number, tests: readonly Test[], sizes: readonly number[]): Int32Array {
  const own = tests.filter(test => test.fields.includes(field))
  const size = sizes[field] as number
  const signatures = Array.from({ length: size }, (_, value) =>
    own.map(test => slice(test, field, value, sizes)).join('|'),
  )
  let last = size - 1
  while (last > 0 && signatures[last - 1] === signatures[size - 1]) last--
  return Int32Array.from({ length: size }, (_, value) => Math.min(value, last))
}

/** Steps that can come after some: by their routes, by alarms (one bit each), and those that can come at any moment. */
function aheadIn(flat: FlatFlow): (starts: readonly number[], alarms: number, anyTime: boolean) => Set<number> {
  const follow = flat.nodes.map((_, at) => nextOf(flat, at))
  const always = ['emergency', 'person', 'cannot-travel'].flatMap(id => flat.nodeOf.get(`shared/${id}`) ?? [])
  return (starts, alarms, anyTime) => {
    const targets = flat.alarms.flatMap(({ target }, alarm) => ((alarms >> alarm) % 2 === 0 ? [] : [target]))
    const live = new Set<number>()
    const queue = [...starts, ...targets, ...(anyTime ? always : [])]
    for (let at = queue.pop(); at !== undefined; at = queue.pop()) {
      if (live.has(at)) continue
      live.add(at)
      queue.push(...(follow[at] ?? []))
    }
    return live
  }
}

/** Alarms that may still fire as things stand, one bit each. Never 0 where silence is chased. */
function alarmsStillIn(flat: FlatFlow): (state: Int32Array) => number {
  const F = flat.fields
  const named = (name: string) => flat.alarmOf.get(name) ?? -1
  const always = [SILENT_ASK, SILENT_PAGE].map(named).filter(alarm => alarm >= 0)
  const unanswered = named(UNANSWERED)
  const left = named(LEFT)
  return state => {
    let bits = 0
    for (const alarm of always) bits |= 1 << alarm
    for (let alarm = 0; alarm < flat.alarms.length; alarm++) if (state[F.armed + alarm] === 1) bits |= 1 << alarm
    if (unanswered >= 0 && state[F.ranOut] === 0 && mayRunOut(flat, state)) bits |= 1 << unanswered
    if (left >= 0 && state[F.left] === 0) bits |= 1 << left
    return bits
  }
}

/** Whether a page can still run out as a "speak" page before all answers are changed: now, or after a turn. */
function mayRunOut({ fields: F, isOutpaced, turning }: FlatFlow, state: Int32Array): boolean {
  if (isOutpaced) return true
  if ((state[F.floor] as number) > SPEAK) return false
  if ((state[F.decided] as number) <= SPEAK) return true
  return turning.some((_, at) => state[F.trail + at] !== 0 && (state[F.decidedAt + at] as number) <= SPEAK)
}
const SPEAK = urgencyOf('speak')

/** Values a field may come to have without a correction, by its value now and the settings for good that lie ahead. */
type MayBe = (field: number, state: Int32Array, standing: Standing, settings: number) => readonly number[]

function changesIn(flat: FlatFlow): MayBe {
  const { fields: F } = flat
  const canTravel = flat.fieldOf.get('can-travel') ?? -1
  const haveLeft = flat.fieldOf.get('have-you-left') ?? -1
  const single = Array.from({ length: Math.max(...fieldSizes(flat)) }, (_, value) => [value])
  const setFor = settableForGood(flat)
  return (field, state, standing, settings) => {
    const value = state[field] as number
    if (field === F.elapsed) return UP_FROM[value] ?? []
    if (field === F.timeLeft) return DOWN_FROM[value] ?? []
    // Facts a family may tell by the way, whatever is asked.
    const isTold = field === canTravel || (field === haveLeft && state[F.left] === 0)
    if (isTold || standing.changes[field] === true) return flat.every[field] ?? []
    return setFor.get(field)?.(value, settings) ?? single[value] ?? []
  }
}

/** Every setting of a fact that is history, in the order of its bits: a field and the cell it is set to. */
const settingsForGood = ({ nodes, sticky }: FlatFlow): readonly { readonly field: number; readonly cell: number }[] => {
  const known = new Map<string, { readonly field: number; readonly cell: number }>()
  for (const { sets } of nodes)
    for (const each of sets) if (sticky.has(each.field)) known.set(`${each.field} ${each.cell}`, each)
  return [...known.values()]
}

/** The settings for good that some steps make, one bit each. */
function settingsIn(flat: FlatFlow): (nodes: Iterable<number>) => number {
  const all = settingsForGood(flat)
  const bitsAt = flat.nodes.map(({ sets }) =>
    all.reduce(
      (bits, one, bit) => (sets.some(({ field, cell }) => field === one.field && cell === one.cell) ? bits | (1 << bit) : bits),
      0,
    ),
  )
  return nodes => {
    let bits = 0
    for (const at of nodes) bits |= bitsAt[at] as number
    return bits
  }
}

/** By fact that is history: its value now, and those that settings ahead may give it. Nothing else changes it. */
function settableForGood(flat: FlatFlow): ReadonlyMap<number, (value: number, settings: number) => readonly number[]> {
  const all = settingsForGood(flat)
  const found = new Map<number, (value: number, settings: number) => readonly number[]>()
  for (const field of flat.sticky) {
    const known = new Map<number, readonly number[]>()
    const own = all.reduce((bits, one, bit) => (one.field === field ? bits | (1 << bit) : bits), 0)
    const size = flat.cells[field]?.size ?? 0
    found.set(field, (value, settings) => {
      const key = (settings & own) * size + value
      const values = known.get(key)
      if (values !== undefined) return values
      const set = all.flatMap((one, bit) => (one.field === field && (settings >> bit) % 2 !== 0 ? [one.cell] : []))
      const made = [...new Set([value, ...set])]
      known.set(key, made)
      return made
    })
  }
  return found
}

const NOTHING = [0]
const UP_FROM = [[0, 1, 2], [1, 2], [2]]
const DOWN_FROM = [[0], [0, 1]]

const HOLDS = 1
const FAILS = 2

/** Whether a test may hold and may fail, each field as far as it may still change. */
function outcomes(
  test: Test,
  state: Int32Array,
  standing: Standing,
  settings: number,
  mayBe: MayBe,
  position = 0,
  index = 0,
): number {
  if (position === test.fields.length) return test.table[index] === 1 ? HOLDS : FAILS
  const field = test.fields[position] as number
  const stride = test.strides[position] as number
  let seen = 0
  for (const each of mayBe(field, state, standing, settings)) {
    seen |= outcomes(test, state, standing, settings, mayBe, position + 1, index + each * stride)
    if (seen === (HOLDS | FAILS)) break
  }
  return seen
}

/** For every cell of a fact the one that stands for it. */
function mapOf(of: {
  readonly cell: Cell
  readonly field: number
  readonly tests: readonly Test[]
  readonly isAsked: boolean
  readonly isAskedOnWay: boolean
  readonly sizes: readonly number[]
}): Int32Array {
  const { cell, field, tests, isAsked, isAskedOnWay, sizes } = of
  const own = tests.filter(test => test.fields.includes(field))
  const map = new Int32Array(cell.size)
  const bySignature = new Map<string, number>()
  for (let value = 1; value < cell.size; value++) {
    // Once its question lies behind, what was told before it was asked is as if it had been asked.
    const told = statusIn(cell, value)
    const status = told === STATUS.given && !isAskedOnWay ? STATUS.reached : told
    if (!isAsked && own.length === 0) continue
    // What is on record is seen once talk comes to its question again.
    const seen = told === STATUS.recorded && isAsked ? value + cell.domain.classes.length : value
    const signature = `${status}:${own.map(test => slice(test, field, seen, sizes)).join('|')}`
    const known = bySignature.get(signature)
    if (known === undefined) bySignature.set(signature, value)
    map[value] = known ?? value
  }
  return map
}

/** What a test says for one value of a field, over all values of its other fields. */
function slice(test: Test, field: number, value: number, sizes: readonly number[]): string {
  const position = test.fields.indexOf(field)
  const stride = test.strides[position] as number
  const size = sizes[field] as number
  let out = ''
  for (let index = 0; index < test.table.length; index++) {
    if (Math.floor(index / stride) % size === value) out += test.table[index]
  }
  return out
}

/**
 * Steps whose rows all come together again before anything is asked, decided, set, alarmed or cancelled: which row was
 * taken shows in what was said and paged, and in nothing later.
 */
function inertNodes(flat: FlatFlow): Set<number> {
  const { nodes } = flat
  const isInert = (node: FlatNode) =>
    node.ask < 0 &&
    node.observed.length === 0 &&
    !node.rests &&
    !node.isEmergency &&
    node.decides === 0 &&
    node.sets.length === 0 &&
    node.alarms.length === 0 &&
    node.cancels.length === 0 &&
    node.rows.length === 1 &&
    !node.says.some(id => flat.hazardous.includes(id))
  const chain = (from: number): number[] => {
    const passed = [from]
    for (let at = from, node = nodes[at]; node !== undefined && isInert(node); node = nodes[at]) {
      at = node.rows[0]?.go ?? RESUME
      if (at === RESUME || passed.includes(at)) break
      passed.push(at)
    }
    return passed
  }
  return new Set(
    nodes.flatMap((node, at) => {
      const chains = node.rows.map(row => (row.go === RESUME ? [] : chain(row.go)))
      const [first = [], ...others] = chains
      return first.some(join => others.every(other => other.includes(join))) ? [at] : []
    }),
  )
}
