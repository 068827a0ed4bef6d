import { html } from 'hono/html'
import { type Action, mayDo } from '../accounts/authority.ts'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Html, Wording } from '../channels/web-page.ts'

/** The pages of the clinic's side, in the order people look for them; each shown to those who may open it. */
const PAGES: readonly { readonly path: string; readonly action: Action; readonly words: string }[] = [
  { path: '/now', action: 'see-board', words: 'clinic-nav-now' },
  { path: '/on-call', action: 'see-on-call', words: 'clinic-nav-on-call' },
  { path: '/flows', action: 'see-content', words: 'clinic-nav-flows' },
  { path: '/settings', action: 'see-settings', words: 'clinic-nav-settings' },
  { path: '/reviews', action: 'review-cases', words: 'clinic-nav-reviews' },
  { path: '/reviews/figures', action: 'see-figures', words: 'reviews-figures' },
  { path: '/people', action: 'see-people', words: 'clinic-nav-people' },
  { path: '/trail', action: 'see-audit', words: 'clinic-nav-trail' },
  { path: '/account', action: 'keep-own-account', words: 'clinic-nav-account' },
]

/** Links to the pages this person may open, who they are, and a way out. */
export function clinicNav(who: SignedIn, here: string, wording: Wording): Html {
  const links = PAGES.filter(({ action }) => mayDo(who, action, { personId: who.personId }))
  return html`<nav class="clinic-nav" aria-label="${wording('clinic-nav-label')}"><ul>${links.map(
    ({ path, words }) =>
      html`<li><a href="${path}"${path === here ? html` aria-current="page"` : ''}>${wording(words)}</a></li>`,
  )}</ul>
${who.how === 'demonstration' ? html`<p class="soft">${wording('clinic-nav-demonstration')}</p>` : html`<form method="post" action="/sign-out"><span class="soft">${who.name}</span> <button class="small-button">${wording('clinic-sign-out')}</button></form>`}</nav>`
}
