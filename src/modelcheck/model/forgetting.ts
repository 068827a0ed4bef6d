/** Values that no test ahead can tell apart become one; what nothing ahead asks or reads becomes nothing. */
import { olderClasses } from './abstract-answers.ts'
import { type Cell, type FlatFlow, type FlatNode, RESUME, STATUS, statusIn } from './tables.ts'
import type { Telling } from './told-apart.ts'

/** What may still become of a fact. */
export interface FactAhead {
  /** Its question lies ahead. */
  readonly isAsked: boolean
  /** A step reads it where talk may come again by another way: an answer is not seen there before it is asked again. */
  readonly isReadAgain: boolean
}

/** For every cell of a fact the one that stands for it; made once for all tests that tell alike. */
export function factMaps(cells: readonly Cell[], telling: Telling): (field: number, ahead: FactAhead) => Int32Array {
  const known = cells.map(() => new Map<string, Int32Array>())
  return (field, ahead) => {
    const own = known[field] as Map<string, Int32Array>
    const key = `${Number(ahead.isAsked)}${Number(ahead.isReadAgain)} ${telling.key(field)}`
    const found = own.get(key)
    if (found !== undefined) return found
    const made = mapOf(cells[field] as Cell, ahead, telling.of(field))
    own.set(key, made)
    return made
  }
}

function mapOf(cell: Cell, ahead: FactAhead, apart: readonly Int32Array[]): Int32Array {
  const map = new Int32Array(cell.size)
  if (!ahead.isAsked && apart.length === 0) return map
  const bySignature = new Map<string, number>()
  for (const value of latestFirst(cell)) {
    const signatures = [value, ...olderValues(cell, value)].map(each => signatureOf(cell, ahead, apart, each))
    const signature = signatures.filter((each, at) => each !== signatures[at - 1]).join(' ')
    const known = bySignature.get(signature)
    if (known === undefined) bySignature.set(signature, value)
    map[value] = known ?? value
  }
  return map
}

/**
 * What is told apart of a value: by the tests ahead, and where its question lies ahead, by how the answer stands. What was told
 * before it was asked stays apart from an answer where a step may be come to again: it is seen there still.
 */
function signatureOf(cell: Cell, ahead: FactAhead, own: readonly Int32Array[], value: number): string {
  const told = statusIn(cell, value)
  // What is on record is seen once talk comes to its question again.
  const seen = told === STATUS.recorded && ahead.isAsked ? value + cell.domain.classes.length : value
  const isGiven = ahead.isReadAgain && told === STATUS.given
  let signature = ahead.isAsked ? `${told}` : `${isGiven}`
  for (const apart of own) signature += `,${apart[seen]}`
  return signature
}

/** Nothing, then the cells of the latest of what time alone leads through, since it may lead there from all the others. */
function latestFirst(cell: Cell): readonly number[] {
  const cells = Array.from({ length: cell.size }, (_, value) => value)
  const left = (value: number) => olderValues(cell, value).length
  return cells.toSorted((a, b) => left(a) - left(b))
}

/** Cells that a cell may come to by time alone. */
function olderValues(cell: Cell, value: number): readonly number[] {
  if (value === 0) return []
  const count = cell.domain.classes.length
  const classIndex = (value - 1) % count
  return olderClasses(cell, classIndex).map(older => value - classIndex + older)
}

/**
 * For every value of a clock field the one that stands for it. Time goes one way: elapsed grows in steps of one and time
 * left ends, so only what stays the same from a value on is made one.
 */
export function clockMap(size: number, apart: readonly Int32Array[]): Int32Array {
  let last = size - 1
  while (last > 0 && apart.every(told => told[last - 1] === told[size - 1])) last--
  return Int32Array.from({ length: size }, (_, value) => Math.min(value, last))
}

/**
 * Steps whose rows all come together again before anything is asked, decided, set, alarmed or cancelled: which row was
 * taken shows in what was said and paged, and in nothing later.
 */
export function inertNodes(flat: FlatFlow): Set<number> {
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
