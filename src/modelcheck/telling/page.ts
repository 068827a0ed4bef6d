/** A told conversation as a page: what the family sees beside what clinicians see, minute by minute. No script, prints well. */
import type { Line } from '../../case/line.ts'
import type { Part } from '../../case/message.ts'
import { clockOf } from '../../case/values.ts'
import type { NightEntry } from './night.ts'
import type { Told } from './tell.ts'
import { quietWords, toldScript } from './text.ts'

/** What stands around a conversation. */
export interface Framing {
  /** What breaks, in one plain sentence. */
  readonly says: string
  /** Why it matters, and what the rule is. */
  readonly means?: string
  readonly reason?: string
  readonly name: string
  /** File of the script, beside the page. */
  readonly script: string
}

export function toldPage(told: Told, line: Line, framing: Framing): string {
  const { says, means, reason, name, script } = framing
  const policies = Object.entries(told.policies).map(([id, value]) => `${id}: ${value}`)
  return [
    '<!doctype html>',
    '<html lang="en">',
    '<head>',
    '<meta charset="utf-8">',
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escaped(says)}</title>`,
    STYLE,
    '</head>',
    '<body>',
    '<main>',
    `<h1>${escaped(says)}</h1>`,
    `<p>The check found this conversation in the flow <b>${escaped(told.concern)}</b>${policies.length === 0 ? '' : `, with ${escaped(policies.join(', '))}`}. It is the shortest one that ends so. No family was there: it is made up, and played on the bot.</p>`,
    told.isShown ? '' : `<p><b>${NOT_SHOWN}</b></p>`,
    '<table>',
    '<caption>Minute by minute</caption>',
    '<thead><tr><th scope="col">Time</th><th scope="col">The family and the bot</th><th scope="col">What clinicians see</th></tr></thead>',
    '<tbody>',
    ...rows(told, line),
    '</tbody>',
    '</table>',
    '<section aria-labelledby="breaks">',
    `<h2 id="breaks">What breaks: ${escaped(name)}</h2>`,
    `<p>${escaped(says)}</p>`,
    means === undefined ? '' : `<p><b>The rule:</b> ${escaped(means)}</p>`,
    reason === undefined ? '' : `<p><b>Why:</b> ${escaped(reason)}</p>`,
    '</section>',
    '<section aria-labelledby="again">',
    '<h2 id="again">Play it again</h2>',
    `<p>After a change of the flow: <code>smallhours talk --script ${escaped(script)}</code>. It ends with an error as long as it breaks.</p>`,
    `<pre>${escaped(toldScript(told, says, reason))}</pre>`,
    '</section>',
    '</main>',
    '</body>',
    '</html>',
    '',
  ].join('\n')
}

export const NOT_SHOWN =
  'The running bot could not be brought to show this; only the checker’s picture of the flow does. Take it as a warning.'

function rows(told: Told, line: Line): string[] {
  return told.entries.map((entry, index) => {
    const isLast = index >= told.turn && told.turn > 0
    const time = entry.kind === 'quiet' ? '' : escaped(clockOf(line, entry.at))
    const [left, right] = cells(entry, told.entries.slice(0, index), told.entries[index + 1])
    const mark = isLast && index === told.turn ? ' class="turn"' : ''
    return `<tr${mark}><th scope="row">${time}</th><td>${left}</td><td>${right}</td></tr>`
  })
}

function cells(entry: NightEntry, before: readonly NightEntry[], next: NightEntry | undefined): [string, string] {
  switch (entry.kind) {
    case 'family':
      return [
        `<p class="family"><b>The family ${entry.how === 'tap' ? 'taps' : 'writes'}:</b> ${escaped(entry.text)}</p>`,
        '',
      ]
    case 'bot':
      return [`<div class="bot"><b>The bot:</b>${entry.parts.map(partHtml).join('')}</div>`, '']
    case 'page':
      return ['', `<p><b>${escaped(entry.to)}:</b> ${escaped(entry.text)}</p>`]
    case 'quiet':
      return [`<p class="quiet">${escaped(quietWords(entry, before, next))}</p>`, '']
  }
}

function partHtml(part: Part): string {
  switch (part.kind) {
    case 'advice':
      return `<p class="advice">${escaped(part.text)}</p>`
    case 'notice':
      return `<p>${escaped(part.text)}</p>`
    case 'withdrawn':
      return `<p><b>${escaped(part.text)}</b></p>`
    case 'person':
      return `<p><q>${escaped(part.text)}</q> – ${escaped(part.name)}, ${escaped(part.role)}</p>`
    case 'question':
      return `<p class="question">${escaped(part.text)}</p><p class="options">${part.options.map(({ label }) => escaped(label)).join(' · ')}</p>`
  }
}

function escaped(text: string): string {
  return text.replace(
    /[&<>"]/g,
    character => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[character] ?? '',
  )
}

const STYLE = `<style>
@page { margin: 12mm }
:root { color-scheme: light dark }
body { margin: 0; font: 16px/1.45 Arial, Helvetica, "Liberation Sans", sans-serif }
main { max-width: 68rem; margin: 0 auto; padding: 1rem }
table { border-collapse: collapse; width: 100% }
caption { text-align: left; font-weight: 700; padding: .5rem 0 }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem; border-top: 1px solid #8888 }
th[scope=row] { white-space: nowrap; font-weight: 400 }
td { width: 55% } td + td { width: 35% }
p { margin: .2rem 0 }
.family { border-left: 4px solid; padding-left: .6rem }
.bot .advice { padding-left: 1rem }
.question { font-weight: 700 }
.options { font-size: .85em }
.quiet { font-style: italic }
.turn > * { border-top: 4px double }
pre { white-space: pre-wrap; border: 1px solid #8888; padding: .6rem }
@media print { body { font-size: 11px } tr, section { break-inside: avoid } }
</style>`
