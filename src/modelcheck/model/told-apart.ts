/** How tests tell the values of fields apart. */
import type { Test } from './tables.ts'

/** Some tests gathered: what they tell apart, field by field. Tests that tell alike count once. */
export interface Telling {
  /** Begins anew, with none. */
  begin(): void
  add(tests: readonly Test[]): void
  /** Tests that are added together time and again. */
  group(tests: readonly Test[]): Group
  addAll(group: Group): void
  /** For every value of a field the first that a test, over all values of its other fields, does not tell from it. */
  of(field: number): readonly Int32Array[]
  /** The same for the same of `of`. */
  key(field: number): string
}

/** One way in which a field's values are told apart. */
interface Way {
  readonly field: number
  /** Its place among the ways of that field. */
  readonly place: number
  readonly apart: Int32Array
  /** The gathering that it was last part of. */
  gathered: number
}

interface Known {
  readonly ways: readonly Way[]
  gathered: number
}

/** Some tests, looked up once. */
export interface Group {
  readonly ways: readonly Way[]
  gathered: number
}

export function tellingOf(sizes: readonly number[]): Telling {
  const waysOf = sizes.map(() => new Map<string, Way>())
  const knownOf = new Map<Test, Known>()
  const told: Way[][] = sizes.map(() => [])
  const gatheredAt = new Int32Array(sizes.length)
  let gathering = 0

  function wayOf(test: Test, field: number): Way {
    const apart = apartBy(test, field, sizes)
    const known = waysOf[field] as Map<string, Way>
    const key = apart.join()
    const way = known.get(key) ?? { field, place: known.size, apart, gathered: -1 }
    known.set(key, way)
    return way
  }

  function known(test: Test): Known {
    const found = knownOf.get(test)
    if (found !== undefined) return found
    const made = { ways: test.fields.map(field => wayOf(test, field)), gathered: -1 }
    knownOf.set(test, made)
    return made
  }

  function note(way: Way): void {
    if (way.gathered === gathering) return
    way.gathered = gathering
    const own = told[way.field] as Way[]
    if (gatheredAt[way.field] !== gathering) {
      gatheredAt[way.field] = gathering
      own.length = 0
    }
    own.push(way)
  }

  const inOrder = (field: number): readonly Way[] =>
    gatheredAt[field] === gathering ? (told[field] ?? []).sort((a, b) => a.place - b.place) : []

  return {
    begin() {
      gathering++
    },
    add(tests) {
      for (let at = 0; at < tests.length; at++) {
        const test = known(tests[at] as Test)
        if (test.gathered === gathering) continue
        test.gathered = gathering
        for (let way = 0; way < test.ways.length; way++) note(test.ways[way] as Way)
      }
    },
    group: tests => ({ ways: [...new Set(tests.flatMap(test => known(test).ways))], gathered: -1 }),
    addAll(group) {
      if (group.gathered === gathering) return
      group.gathered = gathering
      for (let way = 0; way < group.ways.length; way++) note(group.ways[way] as Way)
    },
    of: field => inOrder(field).map(({ apart }) => apart),
    key(field) {
      let key = ''
      for (const { place } of inOrder(field)) key += `${place},`
      return key
    },
  }
}

function apartBy(test: Test, field: number, sizes: readonly number[]): Int32Array {
  const first = new Map<string, number>()
  return Int32Array.from({ length: sizes[field] as number }, (_, value) => {
    const says = slice(test, field, value, sizes)
    if (!first.has(says)) first.set(says, value)
    return first.get(says) as number
  })
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
