/**
 * Whether the rows of a route leave some answers without a row, and which rows never come first: exact over all
 * combinations of answers, as is done for decision tables (Calvanese and others, "Semantics and analysis of DMN decision
 * tables", 2016).
 */
import { type FlatFlow, holds, STATUS, statusIn, type Test } from '../model/tables.ts'

export interface TableFaults {
  /** Values by field that fit no row, the smallest in order; undefined where every combination has a row. */
  readonly gap: ReadonlyMap<number, number> | undefined
  /** Rows, from 0, that are never the first to fit, with the earlier rows that take what they would. */
  readonly shadowed: readonly { readonly row: number; readonly by: readonly number[] }[]
  /** Pairs of rows that fit one combination, and such a combination. */
  readonly overlaps: readonly { readonly rows: readonly [number, number]; readonly at: ReadonlyMap<number, number> }[]
}

/** More combinations than this are not looked through. */
const COMBINATIONS_MOST = 3_000_000

/**
 * @param valuesOf  the values of a field to look through
 * @returns undefined where there are too many combinations
 */
export function tableFaults(
  rows: readonly (readonly Test[])[],
  valuesOf: (field: number) => readonly number[],
): TableFaults | undefined {
  const fields = [...new Set(rows.flatMap(tests => tests.flatMap(test => [...test.fields])))].toSorted((a, b) => a - b)
  const values = fields.map(valuesOf)
  const combinations = values.reduce((count, each) => count * each.length, 1)
  if (combinations > COMBINATIONS_MOST) return undefined
  const state = new Int32Array(Math.max(-1, ...fields) + 1)
  const isFirst = new Uint8Array(rows.length)
  const takers = rows.map(() => new Set<number>())
  const overlaps = new Map<string, { rows: readonly [number, number]; at: ReadonlyMap<number, number> }>()
  let gap: ReadonlyMap<number, number> | undefined
  const shown = () => new Map(fields.map(field => [field, state[field] as number]))
  for (let number = 0; number < combinations; number++) {
    let rest = number
    fields.forEach((field, index) => {
      const own = values[index] as readonly number[]
      state[field] = own[rest % own.length] as number
      rest = Math.floor(rest / own.length)
    })
    const fitting = rows.flatMap((tests, row) => (tests.every(test => holds(test, state)) ? [row] : []))
    const [first, ...others] = fitting
    if (first === undefined) {
      gap ??= shown()
      continue
    }
    isFirst[first] = 1
    for (const other of others) {
      takers[other]?.add(first)
      const name = `${first} ${other}`
      if (!overlaps.has(name)) overlaps.set(name, { rows: [first, other], at: shown() })
    }
  }
  const shadowed = rows.flatMap((_, row) => (isFirst[row] === 1 ? [] : [{ row, by: [...(takers[row] ?? [])] }]))
  return { gap, shadowed, overlaps: [...overlaps.values()] }
}

/** Faults of one step's route: each fact not asked, or with one of its answers. */
export function faultsOfStep(flat: FlatFlow, node: number): TableFaults | undefined {
  const { cells, fields } = flat
  const rows = flat.nodes[node]?.rows ?? []
  const sizeOf = (field: number) => (field === fields.elapsed ? 3 : 2)
  const faults = tableFaults(
    rows.map(row => row.tests),
    field => {
      const cell = cells[field]
      if (cell === undefined) return Array.from({ length: sizeOf(field) }, (_, value) => value)
      return [0, ...(flat.every[field] ?? []).filter(value => value > 0 && statusIn(cell, value) === STATUS.reached)]
    },
  )
  if (faults === undefined) return undefined
  const written = (row: number) => rows[row]?.row ?? row
  return {
    ...faults,
    shadowed: faults.shadowed.map(({ row, by }) => ({ row: written(row), by: by.map(written) })),
    overlaps: faults.overlaps.map(each => ({ ...each, rows: [written(each.rows[0]), written(each.rows[1])] })),
  }
}
