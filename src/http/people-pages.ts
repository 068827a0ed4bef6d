import type { Context } from 'hono'
import type { SignedIn } from '../accounts/signed-in.ts'
import { type AccountPagesPorts, callerOf } from './account-ports.ts'
import type { ClinicAnswers } from './clinic-page.ts'
import type { Gate } from './gate.ts'
import { invitationScreen, peopleScreen } from './people-screen.ts'
import { telegramRoutes } from './telegram-links.ts'

/** What a press said when it was done. */
const DID = new Set(['withdrawn', 'ended', 'kept', 'unlinked'])

/** The people of the clinic: who signs in how, inviting, ending. */
export function peopleRoutes(gated: Gate, ports: AccountPagesPorts, answers: ClinicAnswers): void {
  const { wording, accounts } = ports
  const { store, sessions, waysIn } = accounts
  const caller = callerOf(answers.address)
  const personOf = (c: Context) => ports.people().find(({ id }) => id === c.req.param('id'))
  const about = (c: Context) => {
    const person = personOf(c)
    return person === undefined ? undefined : { personId: person.id }
  }

  gated.get('/people', 'see-people', async (c, who) => {
    const at = ports.now()
    const open = await store.invitations(at)
    const last = await store.lastSignIns()
    const people = await Promise.all(
      ports.people().map(async person => {
        const invitation = open.find(({ personId }) => personId === person.id)
        const lastSignIn = last.get(person.id)
        return {
          person,
          account: await store.account(person.id),
          sessions: (await sessions.of(person.id)).length,
          ...(lastSignIn === undefined ? {} : { lastSignIn }),
          ...(invitation === undefined ? {} : { invitation }),
        }
      }),
    )
    const did = c.req.query('did') ?? ''
    const body = peopleScreen({
      wording,
      who,
      people,
      telegram: ports.telegram,
      dayText: one => ports.dayText(one),
      ...(DID.has(did) ? { note: wording(`clinic-people-did-${did}`) } : {}),
    })
    return answers.respond(c, wording('clinic-people-heading'), body)
  })

  const showLink = async (
    c: Context,
    who: SignedIn,
    made: { readonly token: string; readonly until: Parameters<typeof ports.dayText>[0] } | undefined,
  ) => {
    const person = personOf(c)
    if (made === undefined || person === undefined) return answers.goTo(c, '/people?did=kept')
    const link = `${caller.site(c).origin}/invited/${made.token}`
    const body = invitationScreen({ wording, who, name: person.name, link, until: ports.dayText(made.until) })
    return answers.respond(c, wording('clinic-invitation-heading', { name: person.name }), body)
  }

  telegramRoutes(gated, ports, answers)
  const idOf = (c: Context) => c.req.param('id') ?? ''
  gated.post(
    '/people/:id/invite',
    'invite-people',
    async (c, who) => showLink(c, who, await waysIn.invite(who, idOf(c))),
    about,
  )
  gated.post(
    '/people/:id/start-anew',
    'invite-people',
    async (c, who) => showLink(c, who, await waysIn.startAnew(who, idOf(c))),
    about,
  )
  gated.post(
    '/people/:id/withdraw',
    'invite-people',
    async (c, who) => {
      const isDone = await waysIn.withdrawInvitations(who, idOf(c))
      return answers.goTo(c, `/people?did=${isDone ? 'withdrawn' : 'kept'}`)
    },
    about,
  )
  gated.post(
    '/people/:id/end-sessions',
    'end-sessions',
    async (c, who) => {
      const isDone = await sessions.endAll(who, idOf(c))
      return answers.goTo(c, `/people?did=${isDone ? 'ended' : 'kept'}`)
    },
    about,
  )
}
