/** Everything a check found, as pages: one to begin with, one for each conversation, its script, and its picture. */
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { flowPicture } from '../modelcheck/pictures/graph.ts'
import { picturePage } from '../modelcheck/pictures/page.ts'
import { type Overlay, sheetsOf } from '../modelcheck/pictures/svg.ts'
import { toldPage } from '../modelcheck/telling/page.ts'
import { toldScript } from '../modelcheck/telling/text.ts'
import type { Checked, Violation } from './check-run.ts'
import { checkLines } from './check-text.ts'

/** Writes the pages into a folder, which is made; the path of the page to begin with. */
export function writeCheckPages(folder: string, checked: Checked): string {
  mkdirSync(folder, { recursive: true })
  const first = join(folder, 'index.html')
  const links = checked.violations.map((violation, index) => writeOne(folder, violation, index + 1, checked))
  writeFileSync(first, indexPage(checked, links))
  return first
}

interface Link {
  readonly violation: Violation
  readonly page: string | undefined
  readonly picture: string | undefined
}

function writeOne(folder: string, violation: Violation, number: number, { loaded }: Checked): Link {
  const { finding, rule, told } = violation
  if (told === undefined || loaded === undefined) return { violation, page: undefined, picture: undefined }
  const name = `finding-${number}`
  const script = `${name}.script`
  writeFileSync(join(folder, script), toldScript(told, finding.says, rule?.reason))
  const framing = {
    says: finding.says,
    name: finding.rule,
    script,
    ...(rule === undefined ? {} : { means: rule.means, reason: rule.reason }),
  }
  writeFileSync(join(folder, `${name}.html`), toldPage(told, loaded.line, framing))
  const flow = loaded.line.flows.flows.get(finding.flow)
  if (flow === undefined) return { violation, page: `${name}.html`, picture: undefined }
  const picture = flowPicture(flow, loaded.line.flows, loaded.line.language)
  const sheets = sheetsOf(picture, wayOverlay(told.steps))
  writeFileSync(join(folder, `${name}-picture.html`), picturePage(picture.title, sheets))
  return { violation, page: `${name}.html`, picture: `${name}-picture.html` }
}

/** The steps of one conversation, numbered in the order talk came to them first. */
export function wayOverlay(steps: readonly string[]): Overlay {
  const place = new Map(steps.map((step, index) => [step, index + 1]))
  return {
    title: 'The black numbers: the steps of one conversation, in order',
    markOf: step => (place.has(step) ? String(place.get(step)) : undefined),
    isPale: step => !place.has(step),
  }
}

function indexPage(checked: Checked, links: readonly Link[]): string {
  const figures = checkLines({ ...checked, violations: [] }, false)
  const items = links.map(({ violation: { finding }, page, picture }) => {
    const more = [
      page === undefined ? undefined : `<a href="${page}">the conversation</a>`,
      picture === undefined ? undefined : `<a href="${picture}">where it goes in the flow</a>`,
    ].filter(each => each !== undefined)
    return `<li><p><b>${escaped(finding.rule)}</b> ${escaped(finding.flow)}<br>${escaped(finding.says)}</p>${more.length === 0 ? '' : `<p>${more.join(' · ')}</p>`}</li>`
  })
  return [
    '<!doctype html>',
    '<html lang="en">',
    '<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>Check of the flows</title>',
    '<style>:root{color-scheme:light dark}body{font:16px/1.45 Arial,Helvetica,"Liberation Sans",sans-serif;max-width:50rem;margin:0 auto;padding:1rem}li{margin:.8rem 0}p{margin:.2rem 0}</style></head>',
    '<body><main>',
    '<h1>Check of the flows</h1>',
    '<p>Walked on a picture of the flows that is held to the running bot. It shows that no conversation breaks these rules, not that the rules are enough or the advice is right: clinicians judge that.</p>',
    `<ul>${figures
      .filter(line => line !== '')
      .map(line => `<li>${escaped(line)}</li>`)
      .join('')}</ul>`,
    links.length === 0 ? '<p>Everything holds.</p>' : `<h2>What breaks</h2><ol>${items.join('')}</ol>`,
    '</main></body></html>',
    '',
  ].join('\n')
}

function escaped(text: string): string {
  return text.replace(
    /[&<>"]/g,
    character => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[character] ?? '',
  )
}
