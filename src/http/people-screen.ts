import { html } from 'hono/html'
import type { Account, Invitation } from '../accounts/account-store.ts'
import { mayDo } from '../accounts/authority.ts'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Html, Wording } from '../channels/web-page.ts'
import type { Person } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { clinicNav } from './clinic-nav.ts'
import { noteLine } from './sign-in-screen.ts'
import { type TelegramLinks, telegramRow } from './telegram-links.ts'

export interface PeopleScreen {
  readonly wording: Wording
  readonly who: SignedIn
  readonly people: readonly PersonRow[]
  readonly telegram: TelegramLinks | undefined
  readonly dayText: (at: Instant) => string
  readonly note?: string
}

export interface PersonRow {
  readonly person: Person
  readonly account: Account
  /** Sessions that have not ended. */
  readonly sessions: number
  readonly lastSignIn?: Instant
  /** One that can still be used. */
  readonly invitation?: Invitation
}

/** Everybody of the clinic's file, how they sign in, and what an administrator can do about it. */
export function peopleScreen(screen: PeopleScreen): Html {
  const { wording, who, people, note } = screen
  return html`${clinicNav(who, '/people', wording)}
<main id="main"><h1>${wording('clinic-people-heading')}</h1>
${noteLine(note)}
<p class="soft">${wording('clinic-people-line')}</p>
<ul class="board">${people.map(row => personRow(row, screen))}</ul></main>`
}

function personRow(row: PersonRow, screen: PeopleScreen): Html {
  const { person, account, sessions, invitation, lastSignIn } = row
  const { wording, dayText, who, telegram } = screen
  const roles = person.roles ?? []
  const has = [
    ...(account.passkeys.length === 0 ? [] : [wording('clinic-people-passkeys', { count: account.passkeys.length })]),
    ...(account.password === undefined ? [] : [wording('clinic-signin-password')]),
    ...(account.identities.length === 0 ? [] : [wording('clinic-account-identity')]),
  ]
  const about = { personId: person.id }
  const canSignIn = has.length > 0
  return html`<li><h2>${person.name} <span class="soft">${person.id}, ${person.job}</span></h2>
<p>${roles.length === 0 ? wording('clinic-people-no-role') : roles.map(role => wording(`clinic-role-${role}`)).join(', ')}${person.left === true ? html` · ${wording('clinic-people-left')}` : ''}</p>
<p class="soft">${canSignIn ? has.join(', ') : wording('clinic-people-no-way')}${lastSignIn === undefined ? '' : html` · ${wording('clinic-people-last', { day: dayText(lastSignIn) })}`}${sessions === 0 ? '' : html` · ${wording('clinic-people-sessions', { count: sessions })}`}</p>
${invitation === undefined ? '' : html`<p>${wording('clinic-people-invited', { until: dayText(invitation.until) })}</p>`}
${person.left === true || roles.length === 0 || !mayDo(who, 'invite-people', about) ? '' : inviting(row, canSignIn, wording)}
${telegramRow(telegram, person, who, wording)}
${sessions === 0 || !mayDo(who, 'end-sessions', about) ? '' : button(`/people/${person.id}/end-sessions`, wording('clinic-people-end', { name: person.name }))}
</li>`
}

function inviting({ person, invitation }: PersonRow, canSignIn: boolean, wording: Wording): Html {
  const { id, name } = person
  return html`${canSignIn ? '' : button(`/people/${id}/invite`, wording('clinic-people-invite', { name }))}
${invitation === undefined ? '' : button(`/people/${id}/withdraw`, wording('clinic-people-withdraw', { name }))}
${
  canSignIn
    ? html`<details><summary>${wording('clinic-people-lost', { name })}</summary><p>${wording('clinic-people-lost-line')}</p>
${button(`/people/${id}/start-anew`, wording('clinic-people-start-anew', { name }))}
${button(`/people/${id}/invite`, wording('clinic-people-invite-also', { name }))}</details>`
    : ''
}`
}

const button = (path: string, words: string): Html =>
  html`<form method="post" action="${path}"><button>${words}</button></form>`

/** The link of an invitation, shown once: it stands nowhere else. */
export function invitationScreen(screen: {
  readonly wording: Wording
  readonly who: SignedIn
  readonly name: string
  readonly link: string
  readonly until: string
}): Html {
  const { wording, who, name, link, until } = screen
  return html`${clinicNav(who, '/people', wording)}
<main id="main"><h1>${wording('clinic-invitation-heading', { name })}</h1>
<p>${wording('clinic-invitation-line', { name, until })}</p>
<p><label for="link">${wording('clinic-invitation-link')}</label><textarea id="link" readonly rows="3">${link}</textarea></p>
<p>${wording('clinic-invitation-once')}</p>
<p><a class="button" href="/people">${wording('clinic-nav-people')}</a></p></main>`
}
