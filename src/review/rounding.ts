/**
 * The figures of all cases, rounded, so that they and the figures of a month cannot be taken from each other: what is hidden in a month would
 * come back as a year less its other months. Every count is the nearest multiple of five, and shares are worked out from those: a
 * difference is then uncertain by as much as what was hidden. Conventional rounding, as in A. Hundepool and others, Statistical Disclosure
 * Control, 2012, section 5.
 */
import { type FigureCell, type FigureTable, HIDDEN, NONE } from './figure-table.ts'
import { SHARE_HEAD, shareRow } from './share-rows.ts'

/** Counts are told as multiples of this. */
export const ROUNDED_TO = 5

/** Names of columns that hold counts; others hold times, shares of counts, or words. */
const COUNTS: ReadonlySet<string> = new Set(['cases', 'of', 'unanswered', 'given up', 'times', 'without it'])

export function roundedTables(tables: readonly FigureTable[]): readonly FigureTable[] {
  return tables.map(table =>
    table.plot?.kind === 'control' ? table : { ...table, rows: table.rows.map(row => rounded(table, row)) },
  )
}

/** Cases by hour have a count under each concern: every column of theirs but the first. */
function rounded({ id, head }: FigureTable, row: readonly FigureCell[]): readonly FigureCell[] {
  const cells = row.map((cell, column) =>
    column > 0 && (id === 'hours' || COUNTS.has(head[column] ?? '')) ? nearest(cell) : cell,
  )
  return head.slice(-SHARE_HEAD.length).join() === SHARE_HEAD.join() ? shared(cells) : cells
}

const nearest = (cell: FigureCell): FigureCell =>
  typeof cell === 'number' ? Math.round(cell / ROUNDED_TO) * ROUNDED_TO : cell

/** A row with a share, from its rounded counts. */
function shared(cells: readonly FigureCell[]): readonly FigureCell[] {
  const [name, some, of] = cells
  if (typeof some !== 'number' || typeof of !== 'number') return cells
  if (of === 0) return [String(name), some, of, NONE, NONE, NONE]
  const [, , , ...shares] = shareRow(String(name), Math.min(some, of), of)
  return [String(name), Math.min(some, of), of, ...(shares.includes(HIDDEN) ? [NONE, NONE, NONE] : shares)]
}
