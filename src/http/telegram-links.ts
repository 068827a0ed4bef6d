import type { Context } from 'hono'
import { html } from 'hono/html'
import { mayDo } from '../accounts/authority.ts'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Html, Wording } from '../channels/web-page.ts'
import type { Person } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import type { AccountPagesPorts } from './account-ports.ts'
import { clinicNav } from './clinic-nav.ts'
import type { ClinicAnswers } from './clinic-page.ts'
import type { Gate } from './gate.ts'

/** People's own accounts on Telegram, where the clinic pages there. */
export interface TelegramLinks {
  /** Whether pages of this person go to Telegram at all. */
  isPaged(personId: string): boolean
  /** Accounts that get this person's pages. */
  linked(personId: string): number
  /** A code that links one account, once; earlier ones of the person that were not used end. Given back here and nowhere else. */
  newCode(personId: string): TelegramCode
  /** Pages go to none of the person's accounts any more, and no code of theirs works; how many accounts that were. */
  unlink(personId: string): number
}

export interface TelegramCode {
  readonly code: string
  /** Opens the bot with the code; left out while the bot's name is not known. */
  readonly link?: string
  readonly until: Instant
}

/** What stands at a person about Telegram, with its buttons. */
export function telegramRow(links: TelegramLinks | undefined, person: Person, who: SignedIn, wording: Wording) {
  if (links === undefined || person.left === true || !links.isPaged(person.id)) return ''
  const { id, name } = person
  const count = links.linked(id)
  const may = mayDo(who, 'invite-people', { personId: id })
  return html`<p>${wording('clinic-people-telegram', { count })}</p>
${may ? button(`/people/${id}/telegram`, wording('clinic-people-telegram-link', { name })) : ''}
${may && count > 0 ? button(`/people/${id}/telegram-unlink`, wording('clinic-people-telegram-unlink', { name })) : ''}`
}

const button = (path: string, words: string): Html =>
  html`<form method="post" action="${path}"><button>${words}</button></form>`

/** Making a code, which is shown once, and taking accounts away; each with its line in the audit trail. */
export function telegramRoutes(gated: Gate, ports: AccountPagesPorts, answers: ClinicAnswers): void {
  const { telegram, wording, accounts } = ports
  if (telegram === undefined) return
  const pagedThere = (c: Context): Person | undefined =>
    ports.people().find(({ id, left }) => id === c.req.param('id') && left !== true && telegram.isPaged(id))
  const about = (c: Context) => {
    const person = ports.people().find(({ id }) => id === c.req.param('id'))
    return person === undefined ? undefined : { personId: person.id }
  }
  const noted = (who: SignedIn, did: 'telegram-code-made' | 'telegram-unlinked', on: string) =>
    accounts.store.change({ at: ports.now(), who: who.personId, did, on }, [])

  gated.post(
    '/people/:id/telegram',
    'invite-people',
    async (c, who) => {
      const person = pagedThere(c)
      if (person === undefined) return answers.goTo(c, '/people?did=kept')
      // Written down first: no code is ever out that the trail does not know of.
      await noted(who, 'telegram-code-made', person.id)
      const made = telegram.newCode(person.id)
      const until = ports.dayText(made.until)
      return answers.respond(
        c,
        wording('clinic-telegram-heading', { name: person.name }),
        codeScreen(wording, who, person.name, made, until),
      )
    },
    about,
  )
  gated.post(
    '/people/:id/telegram-unlink',
    'invite-people',
    async (c, who) => {
      const person = about(c)
      if (person === undefined) return answers.goTo(c, '/people?did=kept')
      const { personId } = person
      telegram.unlink(personId)
      await noted(who, 'telegram-unlinked', personId)
      return answers.goTo(c, '/people?did=unlinked')
    },
    about,
  )
}

function codeScreen(wording: Wording, who: SignedIn, name: string, { code, link }: TelegramCode, until: string): Html {
  const label = wording(link === undefined ? 'clinic-telegram-write' : 'clinic-invitation-link')
  return html`${clinicNav(who, '/people', wording)}
<main id="main"><h1>${wording('clinic-telegram-heading', { name })}</h1>
<p>${wording('clinic-telegram-line', { name, until })}</p>
<p><label for="link">${label}</label><textarea id="link" readonly rows="3">${link ?? `/start ${code}`}</textarea></p>
<p>${wording('clinic-telegram-once')}</p>
<p><a class="button" href="/people">${wording('clinic-nav-people')}</a></p></main>`
}
