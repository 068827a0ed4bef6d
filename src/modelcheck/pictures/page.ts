/** All sheets of one picture as a page for a browser or a printer: one A3 sheet each, no script, nothing fetched. */
import type { Sheet } from './svg.ts'

export function picturePage(title: string, sheets: readonly Sheet[]): string {
  const figures = sheets.map(({ number, of, svg }) => {
    const caption = `${title}, sheet ${number} of ${of}`
    return `<figure id="sheet-${number}" aria-label="${caption}">\n${svg}\n</figure>`
  })
  const places = sheets.map(({ number }) => `<a href="#sheet-${number}">sheet ${number}</a>`)
  return [
    '<!doctype html>',
    '<html lang="en">',
    '<head>',
    '<meta charset="utf-8">',
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${title}</title>`,
    STYLE,
    '</head>',
    '<body>',
    `<nav aria-label="Sheets">${places.join(' ')}</nav>`,
    '<main>',
    ...figures,
    '</main>',
    '</body>',
    '</html>',
    '',
  ].join('\n')
}

const STYLE = `<style>
@page { size: A3 landscape; margin: 0 }
body { margin: 0; font-family: Arial, Helvetica, "Liberation Sans", sans-serif; background: #ddd; color: #111 }
nav { padding: 8px 16px; background: #fff; position: sticky; top: 0 }
nav a, figure a { color: inherit }
figure { margin: 16px auto; width: max-content; max-width: 100%; overflow-x: auto; background: #fff; scroll-margin-top: 3em }
g[id] { scroll-margin-top: 3em }
@media print { nav { display: none } body { background: #fff } figure { margin: 0; break-after: page } }
</style>`
