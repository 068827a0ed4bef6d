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
  const own = ofField(tests, field, sizes)
  const map = new Int32Array(cell.size)
  if (!isAsked && own.length === 0) return map
  const bySignature = new Map<string, number>()
  for (let value = 1; value < cell.size; value++) {
    // Once its question lies behind, what was told before it was asked is as if it had been asked.
    const told = statusIn(cell, value)
    const status = told === STATUS.given && !isAskedOnWay ? STATUS.reached : told
    // What is on record is seen once talk comes to its question again.
    const seen = told === STATUS.recorded && isAsked ? value + cell.domain.classes.length : value
    let signature = `${status}`
    for (const apart of own) signature += `,${apart[seen]}`
    const known = bySignature.get(signature)
    if (known === undefined) bySignature.set(signature, value)
    map[value] = known ?? value
  }
  return map
}

/** How the tests of a field tell its values apart; those that tell them apart alike once. */
function ofField(tests: readonly Test[], field: number, sizes: readonly number[]): readonly Int32Array[] {
  const own = new Set<Int32Array>()
  for (const test of tests) {
    const apart = toldApart(test, field, sizes)
    if (apart !== undefined) own.add(apart)
  }
  return [...own]
}

const apartOf = new WeakMap<Test, readonly (Int32Array | undefined)[]>()
const alike = new Map<string, Int32Array>()

/**
 * For every value of a field the first that a test, over all values of its other fields, does not tell from it; undefined
 * where the test does not read the field. The same array where tests tell alike.
 */
function toldApart(test: Test, field: number, sizes: readonly number[]): Int32Array | undefined {
  const place = test.fields.indexOf(field)
  if (place < 0) return undefined
  const known = apartOf.get(test)
  if (known !== undefined) return known[place]
  const made = test.fields.map(one => madeApart(test, one, sizes))
  apartOf.set(test, made)
  return made[place]
}

function madeApart(test: Test, field: number, sizes: readonly number[]): Int32Array {
  const first = new Map<string, number>()
  const made = Int32Array.from({ length: sizes[field] as number }, (_, value) => {
    const says = slice(test, field, value, sizes)
    if (!first.has(says)) first.set(says, value)
    return first.get(says) as number
  })
  const key = made.join()
  const known = alike.get(key) ?? made
  alike.set(key, known)
  return known
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
  const own = ofField(tests, field, sizes)
  const size = sizes[field] as number
  let last = size - 1
  while (last > 0 && own.every(told => told[last - 1] === told[size - 1])) last--
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
