import { html } from 'hono/html'
import type { Html } from '../../channels/web-page.ts'
import type { ConsoleFrame } from './frame.ts'

/** What comes back: the order of paging, and the shifts of each week and of holidays. Text is final. */
export interface PatternView {
  readonly ladder: readonly string[]
  readonly roles: readonly {
    readonly role: string
    /** Address of the form for a shift more. */
    readonly add: string
    readonly shifts: readonly {
      readonly says: string
      /** Address of its form. */
      readonly change: string
      /** Address of the sentence that takes it out. */
      readonly out: string
    }[]
  }[]
}

export function patternScreen(view: PatternView, mayChange: boolean, { wording }: Pick<ConsoleFrame, 'wording'>): Html {
  return html`<main id="main"><h1>${wording('pattern-heading')}</h1>
<p>${wording('pattern-means')}</p>
<section aria-labelledby="ladder"><h2 id="ladder">${wording('pattern-ladder')}</h2>
<ol class="board plain">${view.ladder.map((says, index) => html`<li><p><strong>${index + 1}.</strong> ${says}</p>${mayChange ? rungWays(says, index, wording) : ''}</li>`)}</ol>
${mayChange ? html`<p><a class="button" href="/on-call/change/rung-new">${wording('on-call-rung-new')}</a></p>` : ''}</section>
${view.roles.map(
  ({ role, shifts, add }, at) =>
    html`<section aria-labelledby="role-${at}"><h2 id="role-${at}">${role}</h2><ul class="board plain">${shifts.map(
      ({ says, change, out }) =>
        html`<li><p>${says}</p>${mayChange ? html`<p class="ways"><a href="${change}" aria-label="${wording('change-said', { label: says })}">${wording('change')}</a> <a href="${out}" aria-label="${wording('pattern-out-said', { label: says })}">${wording('pattern-out')}</a></p>` : ''}</li>`,
    )}</ul>${mayChange ? html`<p><a class="button" href="${add}" aria-label="${wording('pattern-add-said', { role })}">${wording('on-call-shift-new')}</a></p>` : ''}</section>`,
)}
${mayChange ? html`<p><a class="button" href="/on-call/change/role-new">${wording('on-call-role-new')}</a></p>` : ''}
<p><a class="button" href="/on-call">${wording('pattern-back')}</a></p></main>`
}

function rungWays(says: string, index: number, wording: ConsoleFrame['wording']): Html {
  const way = (act: 'earlier' | 'out') =>
    html`<a href="/on-call/change/rung?rung=${index}&amp;act=${act}" aria-label="${wording(`pattern-${act}-said`, { label: says })}">${wording(`pattern-${act}`)}</a>`
  return html`<p class="ways">${index === 0 ? '' : way('earlier')} ${way('out')}</p>`
}
