/**
 * Small drawings of figures as SVG. Black, white and one grey; what differs is told by dashes, shapes and words, never by colour
 * alone. Each stands beside its table, which holds every number that is drawn.
 */
import type { ControlPoint, CurvePoint, FigureTable } from './figure-table.ts'
import { cellText } from './figure-table.ts'

const WIDTH = 720
const HEIGHT = 240
const LEFT = 56
const RIGHT = 16
const TOP = 16
const BOTTOM = 40
const INNER = { width: WIDTH - LEFT - RIGHT, height: HEIGHT - TOP - BOTTOM } as const

/** Dash of each curve, in order; the legend repeats it. */
const DASHES = ['', '8 4', '2 3', '10 3 2 3', '1 5', '14 4'] as const
/** A curve is drawn up to here: what takes longer is in the table. */
const CURVE_MINUTES_MOST = 60

/** The drawing of a table; undefined where nothing is drawn of it. */
export function plotOf(table: FigureTable): string | undefined {
  const { plot } = table
  if (plot === undefined || table.rows.length === 0) return undefined
  switch (plot.kind) {
    case 'bars':
      return barsPlot(table, plot.column)
    case 'curves':
      return plot.curves.length === 0 ? undefined : curvesPlot(table, plot.curves)
    case 'control':
      return controlPlot(table, plot)
  }
}

function frame(table: FigureTable, says: string, inside: readonly string[], height = HEIGHT): string {
  const id = `plot-${table.id}`
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 ${WIDTH} ${height}" role="img" aria-labelledby="${id}-title ${id}-desc">`,
    `<title id="${id}-title">${escaped(table.title)}</title>`,
    `<desc id="${id}-desc">${escaped(says)}</desc>`,
    ...inside,
    '</svg>',
  ].join('\n')
}

/** One bar a row, its last row (the total) left out; a count that is not told is drawn as an empty frame as high as it could be. */
function barsPlot(table: FigureTable, column: number): string {
  const rows = table.rows.filter(row => row[0] !== 'all')
  const values = rows.map(row => row[column])
  const most = Math.max(1, ...values.map(value => (typeof value === 'number' ? value : 0)))
  const step = INNER.width / rows.length
  const y = (value: number) => TOP + INNER.height * (1 - value / most)
  const bars = values.map((value, index) => {
    const x = LEFT + index * step + step * 0.15
    const told = typeof value === 'number' ? value : Math.min(4, most)
    const style = typeof value === 'number' ? '' : ' class="untold"'
    return `<rect${style} x="${px(x)}" y="${px(y(told))}" width="${px(step * 0.7)}" height="${px(TOP + INNER.height - y(told))}"/>`
  })
  const names = rows.map(
    (row, index) =>
      `<text class="tick" x="${px(LEFT + (index + 0.5) * step)}" y="${HEIGHT - BOTTOM + 14}" text-anchor="middle">${escaped(String(cellText(row[0] ?? '')).slice(0, rows.length > 12 ? 2 : 24))}</text>`,
  )
  return frame(table, `Bars of ${table.head[column]} by ${table.head[0] || 'row'}. Every number is in the table.`, [
    ...axis(most, value => String(Math.round(value))),
    ...bars,
    ...names,
  ])
}

function curvesPlot(
  table: FigureTable,
  curves: readonly { readonly name: string; readonly points: readonly CurvePoint[] }[],
): string {
  const longest = Math.max(1, ...curves.flatMap(({ points }) => points.map(({ minutes }) => minutes)))
  const most = Math.min(CURVE_MINUTES_MOST, Math.ceil(longest / 5) * 5)
  const x = (minutes: number) => LEFT + (INNER.width * Math.min(minutes, most)) / most
  const y = (waiting: number) => TOP + INNER.height * (1 - waiting)
  const height = HEIGHT + 16 * curves.length
  const drawn = curves.map(({ points }, index) => {
    let path = `M${px(x(0))} ${px(y(1))}`
    for (const { minutes, waiting } of points.filter(point => point.minutes <= most))
      path += `H${px(x(minutes))}V${px(y(waiting))}`
    return `<path class="curve" stroke-dasharray="${DASHES[index % DASHES.length]}" d="${path}H${px(x(most))}"/>`
  })
  const legend = curves.flatMap(({ name }, index) => {
    const at = HEIGHT + 8 + 16 * index
    return [
      `<path class="curve" stroke-dasharray="${DASHES[index % DASHES.length]}" d="M${LEFT} ${at}h40"/>`,
      `<text class="tick" x="${LEFT + 48}" y="${at + 4}">${escaped(name)}</text>`,
    ]
  })
  const ticks = [0, 1, 2, 3, 4, 5].map(part => (most * part) / 5)
  const marks = ticks.map(
    minutes =>
      `<text class="tick" x="${px(x(minutes))}" y="${HEIGHT - BOTTOM + 14}" text-anchor="middle">${Math.round(minutes)} min</text>`,
  )
  const says = `Share of cases still waiting, by minutes up to ${most}: one line for each stretch of time in the table.`
  return frame(
    table,
    says,
    [...axis(1, share => `${Math.round(share * 100)} %`), ...marks, ...drawn, ...legend],
    height,
  )
}

function controlPlot(table: FigureTable, { unit, points }: { unit: string; points: readonly ControlPoint[] }): string {
  const finite = (value: number) => (Number.isFinite(value) ? value : 0)
  const most = Math.max(...points.flatMap(({ value, high }) => [value ?? 0, finite(high)])) * 1.05 || 1
  const step = INNER.width / Math.max(1, points.length - 1)
  const x = (index: number) => LEFT + index * step
  const y = (value: number) => TOP + INNER.height * (1 - Math.max(0, value) / most)
  const level = (of: (point: ControlPoint) => number, dash: string) => {
    const path = points.map((point, index) => `${index === 0 ? 'M' : 'L'}${px(x(index))} ${px(y(finite(of(point))))}`)
    return `<path class="limit" stroke-dasharray="${dash}" d="${path.join('')}"/>`
  }
  let line = ''
  points.forEach(({ value }, index) => {
    if (value === undefined) return
    const isNext = index > 0 && points[index - 1]?.value !== undefined
    line += `${isNext ? 'L' : 'M'}${px(x(index))} ${px(y(value))}`
  })
  const marks = points.flatMap(({ value, isSignal }, index) => {
    if (value === undefined) return []
    const [cx, cy] = [x(index), y(value)]
    return isSignal
      ? [`<rect x="${px(cx - 4)}" y="${px(cy - 4)}" width="8" height="8"/>`]
      : [`<circle class="point" cx="${px(cx)}" cy="${px(cy)}" r="2.5"/>`]
  })
  const every = Math.max(1, Math.ceil(points.length / 8))
  const names = points.flatMap(({ name }, index) =>
    index % every === 0
      ? [
          `<text class="tick" x="${px(x(index))}" y="${HEIGHT - BOTTOM + 14}" text-anchor="middle">${escaped(name.slice(2))}</text>`,
        ]
      : [],
  )
  const key = `<text class="tick" x="${LEFT}" y="${HEIGHT - 6}">line: centre · dashes: limits · square: outside · gap: not shown</text>`
  return frame(table, `${table.says} Squares lie outside the limits.`, [
    ...axis(most, value =>
      unit === 'share' ? `${Math.round(value * 100)} %` : most < 5 ? value.toFixed(1) : String(Math.round(value)),
    ),
    level(({ centre }) => centre, ''),
    level(({ low }) => low, '5 4'),
    level(({ high }) => high, '5 4'),
    `<path class="curve" d="${line}"/>`,
    ...marks,
    ...names,
    key,
  ])
}

function axis(most: number, name: (value: number) => string): readonly string[] {
  return [0, 0.5, 1].flatMap(part => {
    const y = TOP + INNER.height * (1 - part)
    return [
      `<path class="rule" d="M${LEFT} ${px(y)}h${INNER.width}"/>`,
      `<text class="tick" x="${LEFT - 6}" y="${px(y + 4)}" text-anchor="end">${name(most * part)}</text>`,
    ]
  })
}

const px = (value: number): string => String(Math.round(value * 10) / 10)

const ENTITIES: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' }
export const escaped = (text: string): string => text.replace(/[&<>"]/g, found => ENTITIES[found] ?? found)

/** Styles of every plot; on a dark page black and white change places by the page's own colours. */
export const PLOT_STYLE = `.plot{width:100%;max-width:45em;height:auto;fill:currentColor}
.plot .tick{font:11px sans-serif}.plot .rule{stroke:currentColor;stroke-opacity:.25;fill:none}
.plot .curve{stroke:currentColor;stroke-width:2;fill:none}.plot .limit{stroke:currentColor;stroke-opacity:.7;fill:none}
.plot .untold{fill:none;stroke:currentColor;stroke-dasharray:2 2}.plot .point{fill:currentColor}`
