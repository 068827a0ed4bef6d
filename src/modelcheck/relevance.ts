/**
 * Which answers can still matter. An answer that no condition ahead can tell from another is replaced by that other, one
 * that nothing ahead reads or asks is forgotten. What lies ahead: the steps that routes and alarms lead to from where talk
 * stands and from where it would return to, every step that can be entered at any moment, and, since talk may take another
 * way there when it returns, everything that follows the turning steps on its trail.
 */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../flow/steps.ts'
import {
  type Cell,
  type FlatFlow,
  type FlatNode,
  fieldSizes,
  RESUME,
  STATUS,
  statusIn,
  type Test,
  urgencyOf,
} from './flat-flow.ts'
import { nextOf } from './flat-step.ts'

/** Puts in place of a state the one that stands for all with the same future. */
export type Canonical = (state: Int32Array) => void

/** For talk that returns (`resume: 'return'`). */
export function canonicalIn(flat: FlatFlow): Canonical {
  const { nodes, fields: F } = flat
  const sizes = fieldSizes(flat)
  const ahead = aheadIn(flat)
  const isTold = toldByTheWay(flat)
  const alarmsAhead = alarmsStillIn(flat)
  const inert = inertNodes(flat)
  const speak = urgencyOf('speak')
  const turns = flat.turning.map(at => nodes[at]?.rows ?? [])
  const stands = new Map<number, Map<number, Standing>>()

  function standingOf(state: Int32Array): Standing {
    const alarms = alarmsAhead(state)
    const place = (state[F.talk] as number) * nodes.length + (state[F.main] as number)
    const here = stands.get(place) ?? new Map<number, Standing>()
    stands.set(place, here)
    const known = here.get(alarms)
    if (known !== undefined) return known
    const next = ahead([state[F.talk] as number, state[F.main] as number], alarms)
    const asked = new Set([...next].flatMap(at => nodes[at]?.ask ?? []))
    const isAskedAgain = (field: number) => [...next].some(at => nodes[at]?.again === true && nodes[at]?.ask === field)
    const standing: Standing = {
      next,
      asked,
      changes: flat.cells.map((_, field) => isAskedAgain(field)),
      maps: new Map(),
    }
    here.set(alarms, standing)
    return standing
  }

  function mapsOf(standing: Standing, ways: readonly number[], trail: number): readonly Int32Array[] {
    const again = ahead(ways, 0)
    const tests: Test[] = []
    turns.forEach((rows, index) => {
      if ((trail >> index) % 2 !== 0) for (const row of rows) tests.push(...row.tests)
    })
    const asked = new Set(standing.asked)
    for (const at of new Set([...standing.next, ...again])) {
      const node = nodes[at] as FlatNode
      if (node.ask >= 0) asked.add(node.ask)
      tests.push(...node.observed)
      const isPassed = !standing.next.has(at) && inert.has(at)
      for (const row of node.rows)
        for (const test of row.tests)
          if (!isPassed || test.fields.some(field => flat.givable.includes(field))) tests.push(test)
    }
    return flat.cells.map((cell, field) =>
      mapOf({ cell, field, tests, isAsked: asked.has(field), isAskedOnWay: standing.asked.has(field), sizes }),
    )
  }

  /** What cannot lower or raise anything any more is put to nothing. */
  function settleUrgency(state: Int32Array): void {
    const floor = state[F.floor] as number
    if (floor >= (state[F.decided] as number)) state[F.decided] = 0
    else state[F.floor] = 0
    for (let index = 0; index < turns.length; index++)
      if (floor >= (state[F.decidedAt + index] as number)) state[F.decidedAt + index] = 0
    if (floor > speak) state[F.ranOut] = 0
  }

  return state => {
    settleUrgency(state)
    const standing = standingOf(state)
    const mayBe = (field: number, value: number): readonly number[] => {
      if (field === F.elapsed) return UP_FROM[value] ?? []
      if (field === F.timeLeft) return DOWN_FROM[value] ?? []
      if (standing.changes[field] === true || flat.sticky.has(field)) return flat.every[field] ?? []
      return isTold(field, state) ?? [value]
    }
    const ways: number[] = []
    let key = ''
    let trail = 0
    for (let index = 0; index < turns.length; index++) {
      const taken = turns[index]?.[(state[F.trail + index] as number) - 1]?.go
      if (taken === undefined) continue
      const others = (turns[index] ?? []).filter(
        row => row.go !== RESUME && row.go !== taken && row.tests.every(test => mayHold(test, state, mayBe)),
      )
      // A step that cannot turn any more is no longer on the trail.
      if (others.length === 0) {
        state[F.trail + index] = 0
        state[F.decidedAt + index] = 0
        continue
      }
      trail |= 1 << index
      key += `;${index}`
      for (const { go } of others) {
        ways.push(go)
        key += `,${go}`
      }
    }
    let maps = standing.maps.get(key)
    if (maps === undefined) {
      maps = mapsOf(standing, ways, trail)
      standing.maps.set(key, maps)
    }
    for (let field = 0; field < maps.length; field++) {
      const map = maps[field] as Int32Array
      state[field] = map[state[field] as number] as number
    }
  }
}

/** Where talk stands, and what that leaves open. */
interface Standing {
  readonly next: ReadonlySet<number>
  readonly asked: ReadonlySet<number>
  /** By field: whether it may be asked anew. */
  readonly changes: readonly boolean[]
  readonly maps: Map<string, readonly Int32Array[]>
}

const UP_FROM = [[0, 1, 2], [1, 2], [2]]
const DOWN_FROM = [[0], [0, 1]]

/** Steps that can come after some: by their routes, by alarms (one bit each) and at any moment. */
function aheadIn(flat: FlatFlow): (starts: readonly number[], alarms: number) => Set<number> {
  const follow = flat.nodes.map((_, at) => nextOf(flat, at))
  const anyTime = ['emergency', 'person', 'cannot-travel'].flatMap(id => flat.nodeOf.get(`shared/${id}`) ?? [])
  return (starts, alarms) => {
    const targets = flat.alarms.flatMap(({ target }, alarm) => ((alarms >> alarm) % 2 === 0 ? [] : [target]))
    const live = new Set<number>()
    const queue = starts.length === 0 ? [] : [...starts, ...targets, ...(alarms === 0 ? [] : anyTime)]
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
  const speak = urgencyOf('speak')
  return state => {
    let bits = 0
    for (const alarm of always) bits |= 1 << alarm
    for (let alarm = 0; alarm < flat.alarms.length; alarm++) if (state[F.armed + alarm] === 1) bits |= 1 << alarm
    const urgency = Math.max(state[F.decided] as number, state[F.floor] as number)
    if (unanswered >= 0 && state[F.ranOut] === 0 && urgency <= speak) bits |= 1 << unanswered
    if (left >= 0 && state[F.left] === 0) bits |= 1 << left
    return bits
  }
}

/** Facts a family may tell by the way, and what the record may then be; undefined for every other fact. */
function toldByTheWay(flat: FlatFlow): (field: number, state: Int32Array) => readonly number[] | undefined {
  const canTravel = flat.fieldOf.get('can-travel') ?? -1
  const haveLeft = flat.fieldOf.get('have-you-left') ?? -1
  return (field, state) => {
    if (field === canTravel) return flat.every[field]
    if (field === haveLeft && state[flat.fields.left] === 0) return flat.every[field]
    return undefined
  }
}

/** Whether a test holds now or may come to hold, each field as far as it may still change. */
function mayHold(test: Test, state: Int32Array, mayBe: (field: number, value: number) => readonly number[]): boolean {
  const search = (position: number, index: number): boolean => {
    if (position === test.fields.length) return test.table[index] === 1
    const field = test.fields[position] as number
    const stride = test.strides[position] as number
    return mayBe(field, state[field] as number).some(each => search(position + 1, index + each * stride))
  }
  return search(0, 0)
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
    const signature = `${status}:${own.map(test => slice(test, field, value, sizes)).join('|')}`
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
