import { html } from 'hono/html'
import type { Html, Wording } from '../web-page.ts'
import { telephoneAddress } from '../web-page.ts'
import type { DeskSheet, FamilyLog } from './family-log.ts'

/** Black on white, very large, printable, whatever the device prefers. */
export const DESK_CSS = `
:root,:root:root{color-scheme:light;--ground:#fff;--raised:#fff;--ink:#000;--soft:#000;--edge:#000;--bar:#000;--key:#000;--key-ink:#fff;--button:#fff;--button-edge:#000;--focus:#a23b00}
.desk{font-size:1.25rem;line-height:1.25}
.desk h1{font-size:1.1rem}
.desk .say{font-size:1.5rem;font-weight:700;border:3px solid #000;padding:.5rem .8rem;margin:.5rem 0}
.desk .say p{margin:.4rem 0}
.desk dt{font-size:1rem;margin-top:.6rem}
.desk dd{margin:.1rem 0;font-weight:700}
.desk dd+dd::before{content:'– '}
.desk .staff a{font-size:1.5rem;font-weight:700;display:inline-block;padding:.3rem 0}
@media print{.banner{border:1px solid #000;color:#000;background:#fff}}
`

/** "Show this at the desk": sentences to say first, then what triage asks, then the number for staff. */
export function deskScreen(log: FamilyLog, wording: Wording): Html {
  const sheet = log.desk ?? sheetOf(log, wording)
  return html`<main id="main" class="desk">
<h1>${wording('desk-heading')}</h1>
${sheet.say.length === 0 ? '' : html`<div class="say">${sheet.say.map(line => html`<p>${line}</p>`)}</div>`}
${sheet.staff === undefined ? '' : html`<p class="staff">${sheet.staff.label}: <a href="${telephoneAddress(sheet.staff.number)}">${sheet.staff.shown ?? sheet.staff.number}</a></p>`}
<dl>${log.code === undefined ? '' : html`<dt>${wording('desk-code')}</dt><dd>${log.code}</dd>`}
${sheet.facts.map(({ label, text }, i) => html`${label === sheet.facts[i - 1]?.label ? '' : html`<dt>${label}</dt>`}<dd>${text}</dd>`)}</dl>
<p><a class="button" href="/">${wording('back')}</a></p>
</main>`
}

/** The sheet made from the log alone: what was answered, and word for word what the family was told to do. */
function sheetOf(log: FamilyLog, wording: Wording): DeskSheet {
  return {
    say: [wording('desk-say')],
    facts: [
      ...log.changeable.map(({ label, answer }) => ({ label, text: answer })),
      ...toldAdvice(log).map(text => ({ label: wording('desk-told'), text })),
    ],
  }
}

/** Advice still in force: said, and not taken back since. Each once, in the order first said. */
function toldAdvice(log: FamilyLog): readonly string[] {
  const told = new Map<string, string>()
  for (const line of log.lines) {
    for (const part of line.parts) {
      if (part.kind === 'advice') told.set(part.id, part.text)
      if (part.kind === 'withdrawn') told.delete(part.id)
    }
  }
  return [...told.values()]
}
