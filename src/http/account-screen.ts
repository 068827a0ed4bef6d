import { html } from 'hono/html'
import type { Account, Session } from '../accounts/account-store.ts'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Html, Wording } from '../channels/web-page.ts'
import type { Instant } from '../time/instant.ts'
import { clinicNav } from './clinic-nav.ts'
import { newPasswordField, noteLine, passkeyBox } from './sign-in-screen.ts'

export interface AccountScreen {
  readonly wording: Wording
  readonly who: SignedIn
  readonly account: Account
  readonly sessions: readonly Session[]
  /** Date and clock time in the clinic's zone. */
  readonly dayText: (at: Instant) => string
  readonly note?: string
  /** Ways in may be changed now: they signed in a moment ago. */
  readonly isFresh: boolean
}

/** How somebody signs in, and where they are signed in. */
export function accountScreen(screen: AccountScreen): Html {
  const { wording, who, account, note, isFresh } = screen
  return html`${clinicNav(who, '/account', wording)}
<main id="main"><h1>${wording('clinic-account-heading')}</h1>
${noteLine(note)}
<p>${wording('clinic-account-who', { name: who.name, id: who.personId })} · ${who.roles.map(role => wording(`clinic-role-${role}`)).join(', ')}</p>
<section aria-labelledby="ways"><h2 id="ways">${wording('clinic-account-ways')}</h2>
<ul class="board">
${account.passkeys.map(
  passkey => html`<li><p><strong>${passkey.label === '' ? wording('clinic-account-passkey') : passkey.label}</strong> <span class="soft">${passkeyText(passkey, screen)}</span></p>
${isFresh ? html`<form method="post" action="/account/passkey/remove"><input type="hidden" name="id" value="${passkey.credentialId}"><button class="small-button">${wording('clinic-account-remove')}<span class="unseen"> ${passkey.label}</span></button></form>` : ''}</li>`,
)}
${account.password === undefined ? '' : html`<li><p><strong>${wording('clinic-signin-password')}</strong></p></li>`}
${account.identities.map(({ issuer }) => html`<li><p><strong>${wording('clinic-account-identity')}</strong> <span class="soft">${issuer}</span></p></li>`)}
</ul>
${isFresh ? changes(screen) : html`<p>${wording('clinic-account-not-fresh')}</p><p><a class="button" href="/sign-in?onward=/account">${wording('clinic-signin-again')}</a></p>`}
</section>
${sessionsSection(screen)}</main>`
}

function passkeyText({ addedAt, usedAt }: Account['passkeys'][number], { wording, dayText }: AccountScreen): string {
  const used = usedAt === undefined ? '' : ` · ${wording('clinic-account-used', { day: dayText(usedAt) })}`
  return `${wording('clinic-account-added', { day: dayText(addedAt) })}${used}`
}

function changes({ wording, account }: AccountScreen): Html {
  const set = account.password === undefined ? 'clinic-account-set-password' : 'clinic-account-change-password'
  return html`${passkeyBox({ what: 'make', path: '/account/passkey', button: wording('clinic-account-add-passkey'), label: wording('clinic-account-passkey-label') })}
<details><summary>${wording(set)}</summary><form method="post" action="/account/password">${newPasswordField(wording)}
<button>${wording('clinic-account-save')}</button></form></details>`
}

function sessionsSection({ wording, who, sessions, dayText }: AccountScreen): Html {
  const others = sessions.filter(({ id }) => id !== who.sessionId)
  return html`<section aria-labelledby="sessions"><h2 id="sessions">${wording('clinic-account-sessions')}</h2>
<ul class="board">${sessions.map(
    session => html`<li><p><strong>${session.id === who.sessionId ? wording('clinic-account-this-one') : browserText(session.browser)}</strong>
<span class="soft">${wording('clinic-account-session', { start: dayText(session.startedAt), seen: dayText(session.seenAt), ends: dayText(session.endsAt) })}</span></p>
${session.id === who.sessionId ? '' : html`<form method="post" action="/account/sessions/end"><input type="hidden" name="id" value="${session.id}"><button class="small-button">${wording('clinic-account-end-session')}</button></form>`}</li>`,
  )}</ul>
${others.length === 0 ? '' : html`<form method="post" action="/account/sessions/end-others"><button>${wording('clinic-account-end-others')}</button></form>`}
</section>`
}

/** The part of a browser's own words that a person knows it by. */
export function browserText(said: string): string {
  const system = /iPhone|iPad|Android|Windows|Mac OS X|CrOS|Linux/.exec(said)?.[0]
  const engine = /(?:Firefox|Edg|OPR|Chrome|Safari)(?=\/)/.exec(said)?.[0]
  const known = [engine, system].filter(one => one !== undefined)
  return known.length === 0 ? said.slice(0, 40) || '?' : known.join(', ')
}
