/** Figures as one page for a browser or a printer: no script, nothing fetched, each drawing beside its table. */
import { cellText, type FigureTable } from './figure-table.ts'
import { escaped, PLOT_STYLE, plotOf } from './plots.ts'

export interface Report {
  readonly title: string
  /** What it is made of, and what it is no more than. */
  readonly notes: readonly string[]
  readonly tables: readonly FigureTable[]
  /** Pictures of flows with marks laid over, each a whole SVG. */
  readonly pictures?: readonly { readonly title: string; readonly svg: string }[]
}

export function reportPage({ title, notes, tables, pictures = [] }: Report): string {
  const shown = tables.filter(({ rows }) => rows.length > 0)
  return [
    '<!doctype html>',
    '<html lang="en">',
    '<head>',
    '<meta charset="utf-8">',
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escaped(title)}</title>`,
    `<style>${STYLE}\n${PLOT_STYLE}</style>`,
    '</head>',
    '<body>',
    `<header><h1>${escaped(title)}</h1>${notes.map(note => `<p>${escaped(note)}</p>`).join('')}`,
    `<nav aria-label="Figures"><ul>${shown.map(table => `<li><a href="#${table.id}">${escaped(table.title)}</a></li>`).join('')}</ul></nav></header>`,
    '<main>',
    ...shown.map(tableSection),
    ...pictures.map(
      ({ title: name, svg }) =>
        `<section class="picture" aria-label="${escaped(name)}"><h2>${escaped(name)}</h2>${svg}</section>`,
    ),
    '</main>',
    '</body>',
    '</html>',
    '',
  ].join('\n')
}

/** A heading, what it means, the drawing, the table. */
export function tableSection(table: FigureTable): string {
  return [
    `<section aria-labelledby="${table.id}"><h2 id="${table.id}">${escaped(table.title)}</h2>`,
    `<p>${escaped(table.says)}</p>`,
    plotOf(table) ?? '',
    tableMarkup(table),
    '</section>',
  ].join('\n')
}

/** With more, they are set smaller, so that they fit a page. */
const MANY_COLUMNS = 10
/** Rows with longer names get the room to be read in a few lines. */
const LONG_NAME = 24

function looks(head: FigureTable['head'], rows: FigureTable['rows']): string {
  const isLong = rows.some(([name]) => typeof name === 'string' && name.length > LONG_NAME)
  const names = [...(head.length > MANY_COLUMNS ? ['many'] : []), ...(isLong ? ['long'] : [])]
  return names.length === 0 ? '' : ` class="${names.join(' ')}"`
}

function tableMarkup({ title, head, rows }: FigureTable): string {
  const cells = (row: FigureTable['rows'][number]) =>
    row.map((cell, index) =>
      index === 0
        ? `<th scope="row">${escaped(String(cellText(cell)))}</th>`
        : `<td>${escaped(shownCell(cellText(cell)))}</td>`,
    )
  return [
    `<div class="wide" role="region" tabindex="0" aria-label="${escaped(title)}: table"><table${looks(head, rows)}>`,
    `<thead><tr>${head.map(name => `<th scope="col">${name === '' ? '<span class="soft">what</span>' : escaped(name)}</th>`).join('')}</tr></thead>`,
    `<tbody>${rows.map(row => `<tr>${cells(row).join('')}</tr>`).join('\n')}</tbody>`,
    '</table></div>',
  ].join('\n')
}

const shownCell = (value: string | number): string => (typeof value === 'number' ? value.toLocaleString('en') : value)

const STYLE = `@page{size:A4;margin:14mm}
:root{color-scheme:light dark}
body{margin:0 auto;max-width:62em;padding:1em;font:16px/1.45 system-ui,sans-serif;color:#111;background:#fff}
@media (prefers-color-scheme:dark){body{color:#eee;background:#14171a}}
h1{font-size:1.5em;margin:.2em 0}h2{font-size:1.15em;margin:1.6em 0 .2em}
nav ul{columns:2 15em;padding-left:1.2em}a{color:inherit}
.wide{overflow-x:auto}.wide:focus-visible,a:focus-visible{outline:3px solid}
table{border-collapse:collapse;font-variant-numeric:tabular-nums}
td{white-space:nowrap}th,td{padding:.15em .6em;border-bottom:1px solid #8888;text-align:right}th[scope=row],th[scope=col]:first-child{text-align:left;min-width:3.7em}
.long th[scope=row]{min-width:min(20em,45vw)}.many{font-size:.75em}.many th,.many td{padding:.15em .3em;white-space:normal}
.picture svg{max-width:100%;height:auto;background:#fff}
@media print{nav{display:none}.wide{overflow:visible}table{font-size:7.5pt}th,td{white-space:normal;padding:.1em .3em}.long th[scope=row]{min-width:16em}.many{font-size:6pt}.many th,.many td{padding:.1em .15em}section{break-inside:avoid-page}body{max-width:none;font-size:10.5pt;color:#000;background:#fff}}`
