/** The table of edits as a page that needs nothing beside it. */
import type { MutantFigures, Tried } from './mutants.ts'

const STYLE = `body{font:16px/1.4 system-ui,sans-serif;margin:2rem auto;max-width:70rem;padding:0 1rem}
table{border-collapse:collapse;width:100%}th,td{border:1px solid #777;padding:.3rem .5rem;text-align:left;vertical-align:top}
thead th{position:sticky;top:0;background:#fff}.unnoticed td{font-weight:bold}@media print{thead th{position:static}}`

/** @param figures  what stands above the table */
export function mutantPage(tried: readonly Tried[], figures: MutantFigures): string {
  const why = new Map(figures.equivalent.map(each => [each.id, each.why ?? '']))
  const diffs = new Map(figures.survivors.map(({ id, file, diff }) => [id, [file, ...diff].join('\n')]))
  const kinds = Object.entries(figures.kinds).map(([kind, { tried: count, noticed, same }]) => {
    const share = count === same ? '' : `${((100 * noticed) / (count - same)).toFixed(0)} %`
    return `<tr><td>${text(kind)}</td><td>${count}</td><td>${noticed}</td><td>${same}</td><td>${share}</td></tr>`
  })
  const rows = tried.map(({ id, kind, noticed }) => {
    const isOpen = noticed === undefined && !why.has(id)
    const by = noticed?.by ?? (isOpen ? 'nobody' : 'changes nothing')
    return `<tr${isOpen ? ' class="unnoticed"' : ''}><td>${text(id)}</td><td>${text(kind)}</td><td>${by}</td><td>${text(noticed?.what ?? why.get(id) ?? '')}${diffs.has(id) ? `<pre>${text(diffs.get(id) ?? '')}</pre>` : ''}</td></tr>`
  })
  return `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Edits of the flows, and who notices</title><style>${STYLE}</style>
<h1>Edits of the flows, and who notices</h1>
<p>${tried.length} of ${figures.mutants} single edits tried. Of those that change anything, ${(figures.share * 100).toFixed(1)} % are noticed.</p>
<h2>By kind</h2>
<table><thead><tr><th>Kind</th><th>Tried</th><th>Noticed</th><th>Change nothing</th><th>Share</th></tr></thead><tbody>
${kinds.join('\n')}
</tbody></table>
<h2>Each edit</h2>
<table><thead><tr><th>Edit</th><th>Kind</th><th>Noticed by</th><th>How</th></tr></thead><tbody>
${rows.join('\n')}
</tbody></table>
</html>
`
}

const text = (raw: string): string => raw.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;')
