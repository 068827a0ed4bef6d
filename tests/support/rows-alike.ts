/** Whether two lists of rows lead every state to the same step, whatever it is: tried with every combination of what they read. */
import { type FlatFlow, type FlatRow, holds, type Test } from '../../src/modelcheck/model/tables.ts'

/** Combinations that are tried at most; with more it is not known. */
const MOST = 2_000_000

/** -2 where no row fits. */
export function goOf(rows: readonly FlatRow[], state: Int32Array): number {
  for (const { tests, go } of rows) if (tests.every(test => holds(test, state))) return go
  return -2
}

/** False also where there are too many combinations to try. */
export function areAlike(some: readonly FlatRow[], others: readonly FlatRow[], { fields }: FlatFlow): boolean {
  const tests = [...some, ...others].flatMap(row => row.tests)
  const read = [...new Set(tests.flatMap(test => test.fields))]
  const tried = read.map(field => ({ field, values: valuesApart(field, tests) }))
  if (tried.reduce((product, { values }) => product * values.length, 1) > MOST) return false
  const state = new Int32Array(Math.max(...read, ...Object.values(fields)) + 1)
  const from = (at: number): boolean => {
    const next = tried[at]
    if (next === undefined) return goOf(some, state) === goOf(others, state)
    return next.values.every(value => {
      state[next.field] = value
      return from(at + 1)
    })
  }
  return from(0)
}

/** One value of a field for each manner in which the tests may take it. */
function valuesApart(field: number, tests: readonly Test[]): readonly number[] {
  const reading = tests.filter(test => test.fields.includes(field))
  const manners = new Map<string, number>()
  for (let value = 0; value < sizeOf(field, reading[0]); value++) {
    const manner = reading.map(test => slice(test, field, value)).join('|')
    if (!manners.has(manner)) manners.set(manner, value)
  }
  return [...manners.values()]
}

/** How many values a field has, from the table of a test that reads it. */
function sizeOf(field: number, test: Test | undefined): number {
  const at = test?.fields.indexOf(field) ?? -1
  if (test === undefined || at < 0) return 1
  const stride = test.strides[at] ?? 1
  const above = test.strides.filter(each => each > stride)
  return (above.length === 0 ? test.table.length : Math.min(...above)) / stride
}

/** What a test says of a value of a field, with each combination of the others. */
function slice(test: Test, field: number, value: number): string {
  const { fields, strides, table } = test
  const at = fields.indexOf(field)
  const stride = strides[at] ?? 1
  const size = sizeOf(field, test)
  let said = ''
  for (let index = 0; index < table.length; index++)
    if (Math.floor(index / stride) % size === value) said += table[index]
  return said
}
