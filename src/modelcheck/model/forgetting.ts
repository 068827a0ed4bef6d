/** Values that no test ahead can tell apart become one; what nothing ahead asks or reads becomes nothing. */
import { type Cell, type FlatFlow, type FlatNode, RESUME, STATUS, statusIn, type Test } from './tables.ts'

/** For every cell of a fact the one that stands for it. */
export function mapOf(of: {
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
 * For every value of a clock field the one that stands for it. Time goes one way: elapsed grows in steps of one and time
 * left ends, so only what stays the same from a value on is made one.
 */
export function clockMap(field: number, tests: readonly Test[], sizes: readonly number[]): Int32Array {
  const own = tests.filter(test => test.fields.includes(field))
  const size = sizes[field] as number
  const signatures = Array.from({ length: size }, (_, value) =>
    own.map(test => slice(test, field, value, sizes)).join('|'),
  )
  let last = size - 1
  while (last > 0 && signatures[last - 1] === signatures[size - 1]) last--
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
