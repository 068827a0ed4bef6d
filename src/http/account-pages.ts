import { type Context, Hono } from 'hono'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { SetUp } from '../accounts/ways-in.ts'
import { isSecureRequest, secureHeaders } from '../channels/web-guard.ts'
import { type AccountPagesPorts, callerOf, signedInReader } from './account-ports.ts'
import { accountScreen } from './account-screen.ts'
import { clinicAnswers } from './clinic-page.ts'
import { fieldIn, type GatedRoute, gate } from './gate.ts'
import { peopleRoutes } from './people-pages.ts'
import { keyIn, PASSKEY_SCRIPT, signInRoutes } from './sign-in-pages.ts'

export interface AccountPages {
  /** Answers `/sign-in`, `/sign-out`, `/invited/…`, `/account`, `/people`; anything else is 404. */
  fetch(request: Request): Promise<Response>
  /** Every path that only some may use. */
  readonly routes: readonly GatedRoute[]
}

/** Prefixes of the paths these pages answer. */
export const ACCOUNT_PATHS = ['/sign-in', '/sign-out', '/invited', '/account', '/people'] as const

/** Signing in, one's own account, and the people of the clinic. */
export function accountPages(ports: AccountPagesPorts): AccountPages {
  const { wording, accounts, passkeys } = ports
  const { sessions, waysIn, store } = accounts
  const app = new Hono()
  const answers = clinicAnswers(ports)
  const caller = callerOf(answers.address)
  const gated = gate(app, {
    signedIn: signedInReader(accounts, answers.address),
    answers,
    async refused(who, action) {
      await store.change({ at: ports.now(), who: who.personId, did: 'refused', on: action }, [])
    },
  })
  signInRoutes(app, ports, answers)
  peopleRoutes(gated, ports, answers)

  const own = (_: Context, { personId }: SignedIn) => ({ personId })
  const DID = new Set(['password', 'passkey', 'removed', 'ended', 'kept'])

  const accountPage = async (c: Context, who: SignedIn, note?: string, status = 200) => {
    const body = accountScreen({
      wording,
      who,
      account: await store.account(who.personId),
      sessions: await sessions.of(who.personId),
      isFresh: await sessions.isFresh(who),
      dayText: at => ports.dayText(at),
      ...(note === undefined ? {} : { note }),
    })
    const scriptWords = { 'passkey-stopped': wording('clinic-passkey-stopped') }
    return answers.respond(c, wording('clinic-account-heading'), body, { status, script: PASSKEY_SCRIPT, scriptWords })
  }

  gated.get(
    '/account',
    'keep-own-account',
    (c, who) => {
      const did = c.req.query('did') ?? ''
      return accountPage(c, who, DID.has(did) ? wording(`clinic-account-did-${did}`) : undefined)
    },
    own,
  )

  const json = (c: Context, body: object, status = 200, headers: Readonly<Record<string, string>> = {}) =>
    Response.json(body, {
      status,
      headers: { ...secureHeaders('none', isSecureRequest(c.req.raw, answers.address)), ...headers },
    })
  const why = (set: Extract<SetUp, { kind: 'refused' }>) => wording(`clinic-way-${set.why}`)

  gated.post(
    '/account/password',
    'keep-own-account',
    async (c, who, fields) => {
      const way = { kind: 'password', password: fieldIn(fields, 'password') } as const
      const set = await waysIn.add(who, way, caller.from(c))
      if (set.kind === 'refused') return accountPage(c, who, why(set), 422)
      return answers.goTo(c, '/account?did=password', caller.cookie(c, set.token))
    },
    own,
  )
  gated.post(
    '/account/passkey/options',
    'keep-own-account',
    async (c, who) => {
      const { passkeys: existing } = await store.account(who.personId)
      return json(c, await passkeys.setUpOptions(caller.site(c), { id: who.personId, name: who.name }, existing))
    },
    own,
  )
  gated.post(
    '/account/passkey',
    'keep-own-account',
    async (c, who, fields) => {
      const made = await passkeys.setUp(keyIn(fields), caller.site(c), who.personId, fieldIn(fields, 'label'))
      if (made === undefined) return json(c, { note: wording('clinic-way-not-right') }, 422)
      const set = await waysIn.add(who, { kind: 'passkey', passkey: made }, caller.from(c))
      if (set.kind === 'refused') return json(c, { note: why(set) }, 422)
      return json(c, { next: '/account?did=passkey' }, 200, caller.cookie(c, set.token))
    },
    own,
  )
  gated.post(
    '/account/passkey/remove',
    'keep-own-account',
    async (c, who, fields) => {
      const isGone = await waysIn.removePasskey(who, fieldIn(fields, 'id'))
      return answers.goTo(c, `/account?did=${isGone ? 'removed' : 'kept'}`)
    },
    own,
  )
  gated.post(
    '/account/sessions/end',
    'end-sessions',
    async (c, who, fields) => {
      await sessions.end(who, who.personId, fieldIn(fields, 'id'))
      return answers.goTo(c, '/account?did=ended')
    },
    own,
  )
  gated.post(
    '/account/sessions/end-others',
    'end-sessions',
    async (c, who) => {
      await sessions.endAll(who, who.personId)
      return answers.goTo(c, '/account?did=ended')
    },
    own,
  )

  app.notFound(c => answers.notice(c, 404, 'clinic-unknown'))
  app.onError((_, c) => answers.notice(c, c.req.method === 'POST' ? 503 : 500, 'clinic-account-broken'))
  return { fetch: async request => app.fetch(request), routes: gated.routes }
}
