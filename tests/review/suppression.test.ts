import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type Told, toldAlone, toldList, toldPart, toldTable } from '../../src/review/suppression.ts'

/** All whole tables with the shown totals and cells, up to a bound a cell: what a reader with a pencil can reckon. */
function tablesLike(shown: ReturnType<typeof toldTable>, bound: number): number[][][] {
  const { cells, rowTotals, columnTotals } = shown
  const found: number[][][] = []
  const rows = cells.length
  const columns = cells[0]?.length ?? 0
  const fill = (table: number[][], at: number) => {
    if (found.length > 5000) return
    if (at === rows * columns) {
      const sums = Array.from({ length: columns }, (_, c) => table.reduce((sum, row) => sum + (row[c] ?? 0), 0))
      if (!columnTotals.every((total, c) => total === 'hidden' || total === sums[c])) return
      const all = sums.reduce((sum, one) => sum + one, 0)
      if (shown.total === 'hidden' || shown.total === all) found.push(table.map(row => [...row]))
      return
    }
    const [r, c] = [Math.floor(at / columns), at % columns]
    const cell = cells[r]?.[c]
    const options = cell === 'hidden' ? Array.from({ length: bound + 1 }, (_, n) => n) : [cell ?? 0]
    for (const value of options) {
      const row = table[r] as number[]
      row[c] = value
      const sum = row.slice(0, c + 1).reduce((one, other) => one + other, 0)
      const total = rowTotals[r] as Told
      if (total !== 'hidden' && (sum > total || (c === columns - 1 && sum !== total))) continue
      fill(table, at + 1)
    }
    ;(table[r] as number[])[c] = 0
  }
  fill(
    cells.map(row => row.map(() => 0)),
    0,
  )
  return found
}

describe('small counts', () => {
  it('are hidden, and none and five are not', () => {
    expect([0, 1, 4, 5].map(toldAlone)).toEqual([0, 'hidden', 'hidden', 5])
  })

  it('are hidden as a part where the rest is small as well', () => {
    expect(toldPart(97, 100)).toBe('hidden')
    expect(toldPart(3, 100)).toBe('hidden')
    expect(toldPart(50, 100)).toBe(50)
    expect(toldPart(100, 100)).toBe(100)
    expect(toldPart(0, 3)).toBe('hidden')
  })

  /** The second step of cell suppression: one hidden count of a list with its total is never alone. */
  it('never stand alone in a list with its total', () => {
    expect(toldList([3, 20, 9])).toEqual({ counts: ['hidden', 20, 'hidden'], total: 32 })
    // Two that make up 2 could only be 1 and 1, or 0 and 2: one more is hidden.
    expect(toldList([1, 1, 8, 30])).toEqual({ counts: ['hidden', 'hidden', 'hidden', 30], total: 40 })
    expect(toldList([10, 20])).toEqual({ counts: [10, 20], total: 30 })
    expect(toldList([2])).toEqual({ counts: ['hidden'], total: 'hidden' })
    expect(toldList([])).toEqual({ counts: [], total: 0 })
  })

  it('hide nothing where nothing is small', () => {
    expect(
      toldTable([
        [5, 9],
        [0, 7],
      ]),
    ).toEqual({
      cells: [
        [5, 9],
        [0, 7],
      ],
      ...{ rowTotals: [14, 7], columnTotals: [5, 16], total: 21 },
    })
  })

  it('can be worked out by no subtraction over rows, columns and totals, in any drawn table', () => {
    const table = fc.integer({ min: 1, max: 2 }).chain(columns =>
      fc.array(fc.array(fc.integer({ min: 0, max: 9 }), { minLength: columns, maxLength: columns }), {
        minLength: 1,
        maxLength: 2,
      }),
    )
    fc.assert(
      fc.property(table, cells => {
        const shown = toldTable(cells)
        const possible = tablesLike(shown, 12)
        cells.forEach((row, r) => {
          row.forEach((count, c) => {
            if (count === 0 || count >= 5) return
            expect(shown.cells[r]?.[c]).toBe('hidden')
            const values = new Set(possible.map(one => one[r]?.[c]))
            expect(values.size, JSON.stringify([cells, shown])).toBeGreaterThanOrEqual(3)
          })
        })
      }),
      { numRuns: 60 },
    )
  })
})
