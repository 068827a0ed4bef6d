/** Every state a flow's model can come to, breadth first, so that the way to each is a shortest one. */

import { type Anew, MOVES, type Move, type Mover, type MoverOptions, mover } from './flat-step.ts'
import { packing, StateTable } from './packing.ts'
import { type Canonical, canonicalIn } from './relevance.ts'
import type { FlatFlow } from './tables.ts'
import { fieldSizes } from './tables.ts'

export interface ExploreOptions extends MoverOptions {
  /** Stops with `TooManyStates` above this. */
  readonly statesMost?: number
  /** Further fields of the state, after those of the flow: sizes, and what each edge does to them. */
  readonly watch?: Watch
  /** Bits of `FlatFlow.marks` that stand; left out: none. */
  readonly marks?: (memory: Int32Array) => number
  readonly onEdge?: (edge: Edge) => void
  readonly onProgress?: (states: number, looked: number) => void
  /** Moves that are followed; left out: all. `looked`: the move is made and told, and nothing after it. */
  readonly isFollowed?: (move: Move) => boolean | 'looked'
  /** Called once with the mover, before the first state: to listen to entered steps. */
  readonly onMover?: (made: Mover) => void
}

/** Memory of rules beside the state of the flow. */
export interface Watch {
  readonly sizes: readonly number[]
  /** Before an edge from a state, or the first of all: `memory` is the state's. Both arrays are reused. */
  readonly begin: (memory: Int32Array, state: Int32Array | undefined) => void
  /** The memory after the edge; `next` is the state it leads to, with everything still in it. */
  readonly end: (move: Move, next: Int32Array) => Int32Array
}

/** One transition found. Arrays are reused: copy what is kept. */
export interface Edge {
  /** -1: it begins the case. */
  readonly from: number
  /** -1: it was looked at, not followed. */
  readonly to: number
  readonly isNew: boolean
  readonly move: Move
  readonly before: Int32Array | undefined
  readonly after: Int32Array
}

export interface Explored {
  readonly states: number
  readonly transitions: number
  readonly bytes: number
  readonly bitsPerState: number
  /** The state of a number, unpacked; into an array of the caller's where one is given. */
  state(number: number, into?: Int32Array): Int32Array
  /** Fields of a state, those of a watch among them. */
  readonly width: number
  /** Moves from a beginning to a state, shortest first. */
  wayTo(number: number): Move[]
}

/** A step at which talk cannot go on, with the way to the state before it. */
export class WalkBroke extends Error {
  override readonly name = 'WalkBroke'
  readonly way: readonly Move[]
  constructor(way: readonly Move[], cause: unknown) {
    super(cause instanceof Error ? cause.message : String(cause), { cause })
    this.way = way
  }
}

export class TooManyStates extends Error {
  override readonly name = 'TooManyStates'
  readonly states: number
  /** Of a state that was seen by then. */
  readonly wayTo: (state: number) => Move[]
  constructor(states: number, wayTo: (state: number) => Move[]) {
    super(`more than ${states} states`)
    this.states = states
    this.wayTo = wayTo
  }
}

const STATES_MOST = 10_000_000
const PROGRESS_EVERY = 4096

export function explore(flat: FlatFlow, options: ExploreOptions = {}): Explored {
  const { statesMost = STATES_MOST, watch, marks, onEdge, onProgress, isFollowed } = options
  const own = fieldSizes(flat)
  const pack = packing([...own, ...(watch?.sizes ?? [])])
  const width = own.length + (watch?.sizes.length ?? 0)
  const table = new StateTable(pack.words)
  const anew = new Map<Anew, StateTable>()
  const alike = new Int32Array(width)
  /** Talk that begins anew from what is the same, with the same remembered, has been followed already. */
  function isWalked(kind: Anew, from: Int32Array): boolean {
    const walked = anew.get(kind) ?? new StateTable(pack.words)
    anew.set(kind, walked)
    alike.set(from)
    alike.set(memory, own.length)
    pack.pack(alike, packed, 0)
    const known = walked.count
    if (walked.add(packed) === known) return false
    transitions++
    return true
  }
  const walker = mover(flat, { ...options, isWalked })
  const leavesAgain = (isFollowed?.({ kind: 'travel-refused', arg: 0, branch: 0 }) ?? true) === true
  const canonical =
    options.resume === 'return' ? remembering(canonicalIn(flat, leavesAgain), own, flat.marks.length) : undefined
  options.onMover?.(walker)
  const packed = new Int32Array(pack.words)
  const whole = new Int32Array(width)
  const before = new Int32Array(width)
  const memory = new Int32Array(watch?.sizes.length ?? 0)
  let parents = new Int32Array(1024)
  let ways = new Int32Array(1024)
  let transitions = 0

  function wayTo(number: number): Move[] {
    const way: Move[] = []
    for (let at = number; at >= 0; at = parents[at] as number) way.push(moveOf(ways[at] as number))
    return way.reverse()
  }

  function found(from: number, move: Move, next: Int32Array): void {
    const isKept = isFollowed?.(move) ?? true
    if (isKept === false) {
      watch?.begin(memory, from < 0 ? undefined : before)
      return
    }
    transitions++
    if (isKept === 'looked') {
      watch?.end(move, next)
      watch?.begin(memory, from < 0 ? undefined : before)
      onEdge?.({ from, to: -1, isNew: false, move, before: from < 0 ? undefined : before, after: next })
      return
    }
    const after = watch?.end(move, next)
    whole.set(next)
    canonical?.(whole, after === undefined ? 0 : (marks?.(after) ?? 0))
    if (watch !== undefined && after !== undefined) {
      whole.set(after, own.length)
      watch.begin(memory, from < 0 ? undefined : before)
    }
    pack.pack(whole, packed, 0)
    const known = table.count
    const to = table.add(packed)
    const isNew = to === known
    if (isNew) {
      if (table.count > statesMost) throw new TooManyStates(statesMost, wayTo)
      if (to >= parents.length) {
        parents = grown(parents)
        ways = grown(ways)
      }
      parents[to] = from
      ways[to] = codeOf(move)
    }
    onEdge?.({ from, to, isNew, move, before: from < 0 ? undefined : before, after: whole })
  }

  watch?.begin(memory, undefined)
  try {
    walker.starts((move, next) => found(-1, move, next))
  } catch (error) {
    throw error instanceof TooManyStates ? error : new WalkBroke([], error)
  }
  const state = new Int32Array(own.length)
  for (let at = 0; at < table.count; at++) {
    pack.unpack(table.states, at * pack.words, before)
    for (let field = 0; field < own.length; field++) state[field] = before[field] as number
    for (let place = 0; place < memory.length; place++) memory[place] = before[own.length + place] as number
    watch?.begin(memory, before)
    walkOn(at)
    if (at % PROGRESS_EVERY === 0) onProgress?.(table.count, at)
  }

  function walkOn(at: number): void {
    try {
      walker.moves(state, (move, next) => found(at, move, next))
    } catch (error) {
      throw error instanceof TooManyStates ? error : new WalkBroke(wayTo(at), error)
    }
  }

  return {
    states: table.count,
    transitions,
    bytes: table.bytes + parents.byteLength + ways.byteLength,
    bitsPerState: pack.bits,
    width,
    state(number, into = new Int32Array(width)) {
      pack.unpack(table.states, number * pack.words, into)
      return into
    },
    wayTo,
  }
}

/** The same, worked out once for each state that it is asked for: most edges lead to one that another has led to. */
function remembering(canonical: Canonical, sizes: readonly number[], marksMost: number): Canonical {
  const pack = packing([...sizes, 2 ** marksMost])
  const one = new Int32Array(sizes.length + 1)
  const asked = new StateTable(pack.words)
  const packed = new Int32Array(pack.words)
  let made = new Int32Array(1024 * pack.words)
  const copy = (from: Int32Array, to: Int32Array) => {
    for (let field = 0; field < sizes.length; field++) to[field] = from[field] as number
  }
  return (state, marks) => {
    copy(state, one)
    one[sizes.length] = marks
    pack.pack(one, packed, 0)
    const known = asked.count
    const number = asked.add(packed)
    const at = number * pack.words
    if (number < known) {
      pack.unpack(made, at, one)
      copy(one, state)
      return
    }
    canonical(state, marks)
    if (at + pack.words > made.length) made = grown(made)
    copy(state, one)
    pack.pack(one, made, at)
  }
}

function grown(array: Int32Array<ArrayBuffer>): Int32Array<ArrayBuffer> {
  const larger = new Int32Array(array.length * 2)
  larger.set(array)
  return larger
}

/** A move in one number: kind 4 bits, branch 8, arg the rest. */
export const codeOf = (move: Move): number => (move.arg << 12) | (move.branch << 4) | MOVES.indexOf(move.kind)

export const moveOf = (code: number): Move => ({
  kind: MOVES[code & 15] ?? 'opened',
  branch: (code >> 4) & 255,
  arg: code >>> 12,
})
