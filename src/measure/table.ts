import { type Measured, rounded, verdictOf } from './figure.ts'

/** Digits of a table: as many as a person can use. */
const shown = (value: number): string => String(Number(value.toPrecision(3)))

const targetText = ({ bound, target }: Measured) => `at ${bound} ${rounded(target)}`

const VERDICTS = { reached: 'reached', between: 'MISSED, within noise', fell: 'MISSED' } as const

/** The figures for a person: one line each, what it was measured beside below it. */
export function tableOf(figures: readonly Measured[]): string {
  const rows = figures.map(figure => [
    figure.area,
    figure.name,
    `${shown(figure.value)} (${shown(figure.lowest)} to ${shown(figure.highest)})`,
    figure.unit,
    targetText(figure),
    VERDICTS[verdictOf(figure)],
  ])
  const head = ['area', 'figure', 'median (lowest to highest)', 'unit', 'target', '']
  const widths = head.map((title, column) => Math.max(title.length, ...rows.map(row => row[column]?.length ?? 0)))
  const line = (row: readonly string[]) =>
    row
      .map((cell, column) => cell.padEnd(widths[column] ?? 0))
      .join('  ')
      .trimEnd()
  return [line(head), ...rows.flatMap((row, at) => [line(row), `    beside: ${figures[at]?.against ?? ''}`])].join('\n')
}

/** Which figures missed their target, and by how much; undefined when none did. */
export function missedText(figures: readonly Measured[]): string | undefined {
  const missed = figures.filter(figure => !figure.reached)
  if (missed.length === 0) return undefined
  const each = missed.map(
    figure =>
      `${figure.area}: ${figure.name} is ${shown(figure.value)} ${figure.unit}, ${targetText(figure)} was wanted` +
      (verdictOf(figure) === 'between' ? ' (short of it by less than the noise of a machine may explain)' : ''),
  )
  return each.join('\n')
}
