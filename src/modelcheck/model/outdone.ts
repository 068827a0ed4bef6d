/**
 * Steps on the trail that never turn, because another one before them always turns first. A family that says it cannot get
 * there is sent another way from the first step that reads it; the later ones that read it too are no longer on the path.
 */

import type { Outlook } from './outlook.ts'
import { waysFrom } from './rejoin.ts'
import { orderIn, reachedFrom, reachIn } from './steps-ahead.ts'
import { type FlatFlow, type FlatNode, RESUME, type Test } from './tables.ts'

/** The trail of a state, by the places of `turning`. */
export interface Trail {
  /** Rows that a step may turn to, one bit each, and those of them that leave the path for good. */
  readonly others: Int32Array
  readonly away: Int32Array
  /** Whether a step may be come to again, from where talk stands or by a turn. */
  readonly isAheadAgain: (node: number) => boolean
  /** Steps that lie ahead without a turn. */
  readonly next: ReadonlySet<number>
}

/** Takes from the trail of a state what never turns. @returns whether there was something */
export function outdoneIn(flat: FlatFlow, outlook: Outlook): (state: Int32Array, trail: Trail) => boolean {
  const { nodes, fields: F, turning } = flat
  const count = nodes.length
  const reach = reachIn(flat)
  const leadsTo = (from: number, to: number) => reach[from * count + to] === 1
  const order = orderIn(flat, flat.start)
  const inOrder = turning
    .map((_, index) => index)
    .toSorted((a, b) => (order[turning[a] ?? 0] ?? 0) - (order[turning[b] ?? 0] ?? 0))
  const rowsOf = turning.map(at => (nodes[at] as FlatNode).rows)
  const endsOf = rowsOf.map(rows => rows.map(({ go }) => (go === RESUME ? [] : waysFrom(flat, go).ends)))
  const joins = new Set(flat.joins)
  /** By turning step, rows whose ways end where no path is ever joined. */
  const leaving = endsOf.map(rows =>
    rows.reduce((bits, ends, row) => (ends.some(end => joins.has(end)) ? bits : bits | (1 << row)), 0),
  )
  const fieldsOf = rowsOf.map(rows => [...new Set(rows.flatMap(row => row.tests.flatMap(test => test.fields)))])
  const asksFrom = rowsOf.map(rows => rows.map(({ go }) => asksAhead(flat, go)))
  const at = (index: number) => turning[index] as number
  const values = new Map<number, readonly number[]>()
  const bothFields = rowsOf.map((_, first) =>
    rowsOf.map((_, later) => [...new Set([...(fieldsOf[first] ?? []), ...(fieldsOf[later] ?? [])])]),
  )
  const placeOf = placesByKey()
  const known: (boolean | undefined)[] = []

  /** Whether a turn at another step that joins its path again may take a step off the trail. */
  function isTakenBack(index: number, state: Int32Array, { others, away }: Trail): boolean {
    return turning.some((from, other) => {
      if (((others[other] as number) & ~(away[other] as number)) === 0 || !leadsTo(from, at(index))) return false
      return flat.joins.some(
        (join, place) =>
          state[F.passed + place] === 1 &&
          leadsTo(at(index), join) &&
          endsOf[other]?.some(ends => ends.includes(join)) === true,
      )
    })
  }

  /** Whether a fact may be asked before another step than the first turns, one of the later ones being on the trail still. */
  function isAskedMeanwhile(field: number, first: number, later: ReadonlySet<number>, { away, next }: Trail): boolean {
    for (const node of next) if (nodes[node]?.ask === field) return true
    return turning.some((from, other) => {
      if (other === first || later.has(other) || away[other] === 0) return false
      if (![...later].some(each => leadsTo(at(each), from))) return false
      return (
        asksFrom[other]?.some((asks, row) => (((away[other] as number) >> row) & 1) === 1 && asks.has(field)) === true
      )
    })
  }

  /** Whether the first turns, whatever becomes of what they read, wherever a later one would. */
  function turnsFirst(first: number, later: number, state: Int32Array, isAsked: (field: number) => boolean): boolean {
    const fields = bothFields[first]?.[later] ?? []
    values.clear()
    let key = placeOf(
      placeOf(first, later),
      (state[F.trail + first] as number) * ROWS + (state[F.trail + later] as number),
    )
    for (let place = 0; place < fields.length; place++) {
      const field = fields[place] as number
      const become = outlook.become(field, isAsked(field))
      values.set(field, become)
      key = placeOf(key, idOf(become))
    }
    const found = known[key]
    if (found !== undefined) return found
    const taken = (index: number) => (state[F.trail + index] as number) - 1
    const made = holdsForAll(fields, 0, new Map(), seen => {
      const goLater = routed(later, seen)
      if (goLater === RESUME || goLater === rowsOf[later]?.[taken(later)]?.go) return true
      const goFirst = routed(first, seen)
      return goFirst !== RESUME && goFirst !== rowsOf[first]?.[taken(first)]?.go
    })
    known[key] = made
    return made
  }

  const ids = new Map<readonly number[], number>()
  /** `outlook` gives the same array for the same values, by field. */
  function idOf(become: readonly number[]): number {
    const found = ids.get(become) ?? ids.size
    ids.set(become, found)
    return found
  }

  function holdsForAll(
    fields: readonly number[],
    place: number,
    seen: Map<number, number>,
    holds: (seen: ReadonlyMap<number, number>) => boolean,
  ): boolean {
    const field = fields[place]
    if (field === undefined) return holds(seen)
    return (values.get(field) ?? []).every(value => holdsForAll(fields, place + 1, seen.set(field, value), holds))
  }

  /** Where a step on the trail leads in a replay; `RESUME` where no row fits. */
  function routed(index: number, seen: ReadonlyMap<number, number>): number {
    const fits = (test: Test) => {
      let place = 0
      test.fields.forEach((field, part) => {
        place += outlook.seenAt(at(index), field, seen.get(field) ?? 0) * (test.strides[part] as number)
      })
      return test.table[place] === 1
    }
    return rowsOf[index]?.find(row => row.tests.every(fits))?.go ?? RESUME
  }

  /** Whether a step leaves the path for good wherever it turns, and stays on the trail until then. */
  function isFirm(index: number, state: Int32Array, trail: Trail): boolean {
    const away = trail.away[index] as number
    if (away === 0 || away !== trail.others[index] || (away & ~(leaving[index] as number)) !== 0) return false
    return !trail.isAheadAgain(at(index)) && !isTakenBack(index, state, trail)
  }

  /** Those of the later steps that one outdoes. Of these none is the first to turn before it, so none brings about what lets another turn. */
  function outdoneBy(first: number, place: number, state: Int32Array, trail: Trail): ReadonlySet<number> {
    const isLater = (index: number) =>
      trail.others[index] !== 0 && leadsTo(at(first), at(index)) && !leadsTo(at(index), at(first))
    const later = new Set(inOrder.slice(place + 1).filter(isLater))
    for (let size = -1; size !== later.size; ) {
      size = later.size
      const isAsked = (field: number) => isAskedMeanwhile(field, first, later, trail)
      for (const index of later) if (!turnsFirst(first, index, state, isAsked)) later.delete(index)
    }
    return later
  }

  return (state, trail) => {
    const { others, away } = trail
    let onTrail = 0
    for (let index = 0; index < turning.length; index++) if (others[index] !== 0) onTrail++
    if (onTrail < 2) return false
    let isTaken = false
    for (let place = 0; place < inOrder.length - 1; place++) {
      const first = inOrder[place] as number
      if (away[first] === 0 || !isFirm(first, state, trail)) continue
      for (const index of outdoneBy(first, place, state, trail)) {
        state[F.trail + index] = 0
        state[F.decidedAt + index] = 0
        others[index] = 0
        away[index] = 0
        isTaken = true
      }
    }
    return isTaken
  }
}

/** Rows of one step, at most. */
const ROWS = 65_536

/** Numbers a key of several numbers, one more at a time: the place of the numbers so far, and the next. */
function placesByKey(): (before: number, next: number) => number {
  const places = new Map<number, Map<number, number>>()
  let last = FIRST_PLACE
  return (before, next) => {
    let own = places.get(before)
    if (own === undefined) {
      own = new Map()
      places.set(before, own)
    }
    const found = own.get(next)
    if (found !== undefined) return found
    last++
    own.set(next, last)
    return last
  }
}
/** Above any place of a step on the trail, with which a key begins. */
const FIRST_PLACE = 65_536

/** Facts that a step, or one it leads to, asks. */
function asksAhead(flat: FlatFlow, from: number): ReadonlySet<number> {
  if (from === RESUME) return new Set()
  return new Set([from, ...reachedFrom(flat, [from])].flatMap(at => flat.nodes[at]?.ask ?? []))
}
