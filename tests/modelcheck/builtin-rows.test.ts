import { describe, expect, it } from 'vitest'
import type { Test } from '../../src/modelcheck/model/tables.ts'
import { tableFaults } from '../../src/modelcheck/rules/builtin-rows.ts'

/**
 * Small decision tables with a gap, an overlap and a masked row, in the manner of Calvanese, Dumas, Laurson, Maggi, Montali
 * and Teinemaa, "Semantics and analysis of DMN decision tables" (2016): the loan table below follows theirs from memory, its
 * two axes cut at the bounds that its rules name.
 */

const among = (field: number, size: number, ...values: number[]): Test => ({
  on: '',
  values: [],
  fields: [field],
  strides: [1],
  table: Uint8Array.from({ length: size }, (_, value) => Number(values.includes(value))),
})

/** Income 0: below 250, 1: 250 to 750, 2: 750 to 1000, 3: above. Loan 0: below 500, 1: 500 to 1000, 2: 1000 to 2000, 3: above. */
const income = (...values: number[]) => among(0, 4, ...values)
const loan = (...values: number[]) => among(1, 4, ...values)
const values = () => [0, 1, 2, 3]

describe('rows of a table: gaps, overlaps, masked rows', () => {
  it('the loan table: two rules overlap, and a loan above the last bound fits none', () => {
    const faults = tableFaults(
      [
        [income(0, 1, 2), loan(0, 1)],
        [income(1, 2), loan(1, 2)],
        [income(3), loan(0, 1, 2)],
      ],
      values,
    )
    expect(faults?.overlaps.map(each => each.rows)).toEqual([[0, 1]])
    expect(Object.fromEntries(faults?.overlaps[0]?.at ?? [])).toEqual({ 0: 1, 1: 1 })
    expect(Object.fromEntries(faults?.gap ?? [])).toEqual({ 0: 0, 1: 2 })
    expect(faults?.shadowed).toEqual([])
  })

  it('a row that only several earlier rows together take is masked, and they are named', () => {
    const faults = tableFaults([[income(0, 1)], [income(2, 3), loan(0, 1)], [income(1, 2), loan(0)], []], values)
    expect(faults?.shadowed).toEqual([{ row: 2, by: [0, 1] }])
    expect(faults?.gap).toBeUndefined()
  })

  it('a complete table without overlap has neither', () => {
    const faults = tableFaults([[income(0, 1)], [income(2, 3), loan(0, 1)], [income(2, 3), loan(2, 3)]], values)
    expect(faults).toEqual({ gap: undefined, shadowed: [], overlaps: [] })
  })

  it('agrees with every combination tried by hand on drawn tables', () => {
    for (let seed = 1; seed <= 200; seed++) {
      const bit = (at: number) => ((Math.imul(seed * 31 + at, 0x9e3779b1) >>> 11) & 1) === 1
      const rows = [0, 1, 2].map(row => [
        income(...values().filter(value => bit(row * 8 + value))),
        loan(...values().filter(value => bit(row * 8 + 4 + value))),
      ])
      const fits = (row: number, x: number, y: number) => bit(row * 8 + x) && bit(row * 8 + 4 + y)
      const all = values().flatMap(y => values().map(x => [x, y] as const))
      const gap = all.find(([x, y]) => ![0, 1, 2].some(row => fits(row, x, y)))
      const faults = tableFaults(rows, values)
      expect(faults?.gap === undefined).toBe(gap === undefined)
      const masked = [0, 1, 2].filter(row => !all.some(([x, y]) => [0, 1, 2].find(each => fits(each, x, y)) === row))
      expect(faults?.shadowed.map(each => each.row)).toEqual(masked)
    }
  })

  it('more combinations than can be looked through are not guessed at', () => {
    const many = Array.from({ length: 1000 }, (_, value) => value)
    const wide = [0, 1, 2].map(field => among(field, 1000, 1))
    expect(tableFaults([wide, []], () => many)).toBeUndefined()
  })
})
