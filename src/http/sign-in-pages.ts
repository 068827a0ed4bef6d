import { readFileSync } from 'node:fs'
import type { Context, Hono } from 'hono'
import type { SignInOutcome } from '../accounts/sign-in.ts'
import type { SetUp, WayIn } from '../accounts/ways-in.ts'
import { isSameOrigin, isSecureRequest, secureHeaders } from '../channels/web-guard.ts'
import { type AccountPagesPorts, callerOf, signedInReader } from './account-ports.ts'
import type { ClinicAnswers } from './clinic-page.ts'
import { type Fields, fieldIn, ownPath, postedFields } from './gate.ts'
import { hospitalRoutes } from './hospital-routes.ts'
import { invitedScreen, signInScreen } from './sign-in-screen.ts'

/** Where somebody goes who asked for no other page. */
const FIRST_PAGE = '/account'
export const PASSKEY_SCRIPT = '/sign-in/passkey.js'

/** Signing in, signing out, and what an invitation opens: the only pages of the clinic's side that need no signing in. */
export function signInRoutes(app: Hono, ports: AccountPagesPorts, answers: ClinicAnswers): void {
  const { wording, accounts, passkeys, singleSignOn } = ports
  const hospital = singleSignOn === undefined ? {} : { singleSignOn: singleSignOn.name }
  const { signIn, waysIn } = accounts
  const caller = callerOf(answers.address)
  const signedIn = signedInReader(accounts, answers.address)
  const script = readFileSync(new URL('./passkey.js', import.meta.url), 'utf8')
  const withScript = { script: PASSKEY_SCRIPT, scriptWords: { 'passkey-stopped': wording('clinic-passkey-stopped') } }

  /** The fields of a post of our own pages. */
  const posted = async (c: Context): Promise<Fields | Response> => {
    if (!isSameOrigin(c.req.raw, answers.address)) return answers.notice(c, 403, 'clinic-other-site')
    return (await postedFields(c)) ?? answers.notice(c, 413, 'clinic-too-big')
  }
  const json = (c: Context, body: object, headers: Readonly<Record<string, string>> = {}, status = 200) =>
    Response.json(body, {
      status,
      headers: { ...secureHeaders('none', isSecureRequest(c.req.raw, answers.address)), ...headers },
    })

  const signInPage = (c: Context, onward: string, said: { note?: string; name?: string; status?: number } = {}) =>
    answers.respond(
      c,
      wording('clinic-signin-heading'),
      signInScreen({
        wording,
        onward,
        ...hospital,
        ...(said.note === undefined ? {} : { note: said.note }),
        ...(said.name === undefined ? {} : { name: said.name }),
      }),
      { ...withScript, status: said.status ?? 200 },
    )

  app.get('/sign-in', c => signInPage(c, ownPath(c.req.query('onward') ?? '', FIRST_PAGE)))

  app.post('/sign-in', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const onward = ownPath(fieldIn(fields, 'onward'), FIRST_PAGE)
    const name = fieldIn(fields, 'name').slice(0, 100)
    const outcome = await signIn.withPassword(name, fieldIn(fields, 'password'), caller.from(c))
    if (outcome.kind === 'signed-in') return answers.goTo(c, onward, caller.cookie(c, outcome.token))
    return signInPage(c, onward, { name, ...refusal(outcome) })
  })

  function refusal(outcome: Exclude<SignInOutcome, { kind: 'signed-in' }>): { note: string; status: number } {
    switch (outcome.kind) {
      case 'wrong':
        return { note: wording('clinic-signin-wrong'), status: 401 }
      case 'wait':
        return { note: wording('clinic-signin-wait', { until: ports.dayText(outcome.until) }), status: 429 }
      case 'busy':
        return { note: wording('clinic-signin-busy'), status: 503 }
    }
  }

  if (singleSignOn !== undefined) hospitalRoutes(app, singleSignOn, ports, answers, FIRST_PAGE)

  app.get(PASSKEY_SCRIPT, c => {
    const headers = secureHeaders('none', isSecureRequest(c.req.raw, answers.address))
    return new Response(script, { headers: { ...headers, 'Content-Type': 'text/javascript; charset=utf-8' } })
  })

  app.post('/sign-in/passkey/options', async c => {
    const fields = await posted(c)
    return fields instanceof Response ? fields : json(c, await passkeys.signInOptions(caller.site(c)))
  })

  app.post('/sign-in/passkey', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const from = caller.from(c)
    const until = await signIn.waitOf(from)
    if (until !== undefined) return json(c, { note: refusal({ kind: 'wait', until }).note }, {}, 429)
    const key = keyIn(fields)
    const proof = await passkeys.prove(key, caller.site(c), id => accounts.store.passkey(id))
    const owner = proof === undefined ? undefined : await accounts.store.passkey(proof.credentialId)
    if (proof === undefined || owner === undefined) {
      await signIn.failed(from)
      return json(c, { note: wording('clinic-signin-passkey-wrong') }, {}, 401)
    }
    const used = { kind: 'use-passkey', ...proof, at: ports.now() } as const
    const outcome = await signIn.proved(owner.personId, 'passkey', from, [used])
    if (outcome.kind !== 'signed-in') return json(c, { note: wording('clinic-signin-passkey-wrong') }, {}, 401)
    const next = ownPath(fieldIn(fields, 'onward'), FIRST_PAGE)
    return json(c, { next }, caller.cookie(c, outcome.token))
  })

  app.post('/sign-out', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const who = await signedIn(c.req.raw)
    if (who !== undefined) await accounts.sessions.signOut(who)
    return answers.goTo(c, '/sign-in', caller.cookie(c, undefined))
  })

  // ---- Invitations ----

  const invitation = async (c: Context) => {
    const token = c.req.param('token') ?? ''
    const found = /^[\w-]{43}$/.test(token) ? await waysIn.invited(token) : undefined
    const person = ports.people().find(({ id }) => id === found?.personId)
    return found === undefined || person === undefined ? undefined : { token, person, until: found.until }
  }

  const invitedPage = (c: Context, found: NonNullable<Awaited<ReturnType<typeof invitation>>>, note?: string) =>
    answers.respond(
      c,
      wording('clinic-invited-heading', { name: found.person.name }),
      invitedScreen({
        wording,
        path: `/invited/${found.token}`,
        person: found.person,
        until: ports.dayText(found.until),
        ...hospital,
        ...(note === undefined ? {} : { note }),
      }),
      { ...withScript, status: note === undefined ? 200 : 422 },
    )

  // A GET or HEAD uses nothing up, whoever or whatever opens the link.
  app.get('/invited/:token', async c => {
    const found = await invitation(c)
    return found === undefined ? answers.notice(c, 410, 'clinic-invitation-gone') : invitedPage(c, found)
  })

  const accept = (c: Context, token: string, way: WayIn): Promise<SetUp> => waysIn.accept(token, way, caller.from(c))

  app.post('/invited/:token', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const found = await invitation(c)
    if (found === undefined) return answers.notice(c, 410, 'clinic-invitation-gone')
    const set = await accept(c, found.token, { kind: 'password', password: fieldIn(fields, 'password') })
    if (set.kind === 'done') return answers.goTo(c, FIRST_PAGE, caller.cookie(c, set.token))
    if (set.why === 'invitation-gone') return answers.notice(c, 410, 'clinic-invitation-gone')
    return invitedPage(c, found, wording(`clinic-way-${set.why}`))
  })

  app.post('/invited/:token/passkey/options', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const found = await invitation(c)
    if (found === undefined) return json(c, { note: wording('clinic-invitation-gone-line') }, {}, 410)
    const { passkeys: existing } = await accounts.store.account(found.person.id)
    return json(c, await passkeys.setUpOptions(caller.site(c), found.person, existing))
  })

  app.post('/invited/:token/passkey', async c => {
    const fields = await posted(c)
    if (fields instanceof Response) return fields
    const found = await invitation(c)
    if (found === undefined) return json(c, { note: wording('clinic-invitation-gone-line') }, {}, 410)
    const passkey = await passkeys.setUp(keyIn(fields), caller.site(c), found.person.id, fieldIn(fields, 'label'))
    if (passkey === undefined) return json(c, { note: wording('clinic-way-not-right') }, {}, 422)
    const set = await accept(c, found.token, { kind: 'passkey', passkey })
    if (set.kind === 'done') return json(c, { next: FIRST_PAGE }, caller.cookie(c, set.token))
    return json(c, { note: wording(`clinic-way-${set.why}`) }, {}, 422)
  })
}

/** What the browser's passkey said; anything that is no JSON is undefined, and no passkey of ours. */
export function keyIn(fields: Fields): unknown {
  try {
    return JSON.parse(fieldIn(fields, 'key'))
  } catch {
    return undefined
  }
}
