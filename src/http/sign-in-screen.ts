import { html } from 'hono/html'
import type { Html, Wording } from '../channels/web-page.ts'

/** A box that the passkey script wakes; without script it stays hidden. */
interface PasskeyBox {
  /** `make` sets one up, `show` signs in with one. */
  readonly what: 'make' | 'show'
  readonly path: string
  readonly button: string
  /** Where to go afterwards. */
  readonly onward?: string
  /** Asks what to call it. */
  readonly label?: string
}

export function passkeyBox({ what, path, button, onward = '', label }: PasskeyBox): Html {
  return html`<div data-passkey="${what}" data-path="${path}" data-onward="${onward}" hidden>
${label === undefined ? '' : html`<label for="passkey-label">${label}</label><input id="passkey-label" type="text" maxlength="40" autocomplete="off">`}
<button type="button" class="main-button">${button}</button>
<p role="status"></p></div>`
}

/** What went wrong, before everything else on the page. */
export const noteLine = (note: string | undefined): Html | string =>
  note === undefined ? '' : html`<p class="note" role="alert">${note}</p>`

export interface SignInScreen {
  readonly wording: Wording
  readonly note?: string
  /** As it was typed, so that it need not be typed again. */
  readonly name?: string
  readonly onward: string
  /** What the hospital's own sign-in is called; left out where there is none. */
  readonly singleSignOn?: string
}

export function signInScreen({ wording, note, name = '', onward, singleSignOn }: SignInScreen): Html {
  return html`<main id="main"><h1>${wording('clinic-signin-heading')}</h1>
${noteLine(note)}
${passkeyBox({ what: 'show', path: '/sign-in/passkey', button: wording('clinic-signin-passkey'), onward })}
${singleSignOn === undefined ? '' : html`<p><a class="button" href="/sign-in/hospital?onward=${encodeURIComponent(onward)}">${wording('clinic-signin-hospital', { name: singleSignOn })}</a></p>`}
<form method="post" action="/sign-in">
<input type="hidden" name="onward" value="${onward}">
<label for="name">${wording('clinic-signin-name')}</label>
<input id="name" name="name" type="text" autocomplete="username" autocapitalize="none" spellcheck="false" required value="${name}">
<label for="password">${wording('clinic-signin-password')}</label>
<input id="password" name="password" type="password" autocomplete="current-password" required>
<button class="main-button">${wording('clinic-signin-button')}</button>
</form>
<p class="soft">${wording('clinic-signin-help')}</p>
<p class="soft">${wording('clinic-signin-page-link')}</p>
</main>`
}

export interface InvitedScreen {
  readonly wording: Wording
  readonly note?: string
  readonly path: string
  readonly person: { readonly id: string; readonly name: string }
  readonly until: string
  readonly singleSignOn?: string
}

/** The page an invitation opens: a passkey first, a password for who has none. */
export function invitedScreen({ wording, note, path, person, until, singleSignOn }: InvitedScreen): Html {
  return html`<main id="main"><h1>${wording('clinic-invited-heading', { name: person.name })}</h1>
${noteLine(note)}
<p>${wording('clinic-invited-line', { id: person.id, until })}</p>
${passkeyBox({ what: 'make', path: `${path}/passkey`, button: wording('clinic-invited-passkey'), label: wording('clinic-account-passkey-label') })}
${singleSignOn === undefined ? '' : html`<p><a class="button" href="${path}/hospital">${wording('clinic-signin-hospital', { name: singleSignOn })}</a></p>`}
<form method="post" action="${path}">
<input type="hidden" name="username" autocomplete="username" value="${person.id}">
${newPasswordField(wording)}
<button>${wording('clinic-invited-password')}</button>
</form></main>`
}

export function newPasswordField(wording: Wording): Html {
  return html`<label for="password">${wording('clinic-account-new-password')}</label>
<input id="password" name="password" type="password" autocomplete="new-password" required minlength="12" aria-describedby="password-rules">
<p class="soft" id="password-rules">${wording('clinic-account-password-rules')}</p>`
}
