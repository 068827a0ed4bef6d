import { describe, expect, it } from 'vitest'
import { cellText } from '../../src/review/figure-table.ts'
import { figuresOf } from '../../src/review/figures.ts'
import { roundedTables } from '../../src/review/rounding.ts'
import { aSummary } from '../support/review-parts.ts'

const names = { concern: (id: string) => id, fact: (id: string) => id, outcome: (id: string) => id }
const many = (month: string, count: number, danger: number) =>
  Array.from({ length: count }, (_, index) => aSummary(`${month}-${index}`, { month, isRedFlag: index < danger }))
/** The row of danger signs as it is told of a month, or of all. */
const danger = (cases: ReturnType<typeof many>, isAll: boolean) => {
  const tables = figuresOf(cases, names)
  const told = (isAll ? roundedTables(tables) : tables).find(({ id }) => id === 'overview')?.rows[1]
  return told?.map(cellText) ?? []
}

describe('figures of all beside those of each month', () => {
  // The attack is the textbook one of differencing: Hundepool and others, Statistical Disclosure Control, 2012, sections 5 and 6.
  it('leave what a month hides open: the same figures go with every number that it may be', () => {
    const [january, march] = [many('2026-01', 40, 12), many('2026-03', 60, 21)]
    const told = [1, 2, 3, 4].map(hidden => {
      const february = many('2026-02', 30, hidden)
      expect(danger(february, false)[1]).toBe('not shown')
      return danger([...january, ...february, ...march], true)
    })
    // 34 to 37 of 130: told as 35, but for none of the others does a subtraction come out at what it was.
    expect(told.map(row => row[1])).toEqual([35, 35, 35, 35])
    expect(new Set(told.map(row => row.join())).size).toBe(1)
    expect(Number(told[0]?.[3])).toBeCloseTo((100 * 35) / 130, 1)
  })

  it('stay as they are where no count is', () => {
    const rows = (all: boolean) => {
      const tables = figuresOf(many('2026-01', 43, 0), names)
      return (all ? roundedTables(tables) : tables).find(({ id }) => id === 'waits')?.rows[3]?.map(cellText)
    }
    expect(rows(false)).toEqual(['first page to a clinician’s answer', 43, 0, 5, 5, 5])
    expect(rows(true)).toEqual(['first page to a clinician’s answer', 45, 0, 5, 5, 5])
  })
})
