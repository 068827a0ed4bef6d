import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'

/** One sheet for the wall: what is needed when the line is down. Text is final; numbers are for staff. */
export interface TonightSheet {
  readonly heading: string
  readonly printed: string
  /** Who is on call in each role, until when, with the number to ring them. */
  readonly people: readonly {
    readonly role: string
    readonly who: string
    readonly until: string
    readonly number: string
  }[]
  /** Order of paging, as it is now. */
  readonly ladder: readonly string[]
  readonly numbers: readonly { readonly label: string; readonly number: string }[]
  /** Codes of open cases, with what each is and who has it. */
  readonly cases: readonly { readonly code: string; readonly text: string }[]
}

export function tonightScreen(sheet: TonightSheet, wording: Wording): Html {
  return html`<main id="main"><h1>${sheet.heading}</h1>
<p class="soft">${sheet.printed}</p>
<p class="screen-only">${wording('print-how')}</p>
<section><h2>${wording('print-people')}</h2><ul class="lines">${sheet.people.map(one => html`<li><strong>${one.who}</strong> ${one.role} ${one.until}<br>${one.number}</li>`)}</ul></section>
<section><h2>${wording('print-ladder')}</h2><ol class="lines">${sheet.ladder.map(name => html`<li>${name}</li>`)}</ol></section>
<section><h2>${wording('print-cases')}</h2>${sheet.cases.length === 0 ? html`<p>${wording('board-no-cases')}</p>` : html`<ul class="lines">${sheet.cases.map(one => html`<li><strong>${one.code}</strong> ${one.text}</li>`)}</ul>`}</section>
<section><h2>${wording('print-numbers')}</h2><ul class="lines">${sheet.numbers.map(one => html`<li>${one.label}: <strong>${one.number}</strong></li>`)}</ul></section>
<section><h2>${wording('print-down')}</h2><ol class="lines">${[1, 2, 3, 4].map(step => html`<li>${wording(`print-down-${step}`)}</li>`)}</ol></section>
<p class="screen-only"><a class="button" href="/now">${wording('now-back')}</a></p></main>`
}
