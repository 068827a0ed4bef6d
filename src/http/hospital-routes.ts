import type { Context, Hono } from 'hono'
import { isSecureRequest } from '../channels/web-guard.ts'
import { type AccountPagesPorts, callerOf } from './account-ports.ts'
import type { ClinicAnswers } from './clinic-page.ts'
import { ownPath } from './gate.ts'
import { awayCookie, awayIn, noAwayCookie, type SingleSignOn } from './single-sign-on.ts'

const BACK = '/sign-in/hospital/back'

/**
 * The way to the hospital's own sign-in and back. It begins with a link, not a form: the page's policy lets forms go to ourselves
 * only. Going there changes nothing here; coming back counts only with what this browser was sent away with, and once.
 */
export function hospitalRoutes(
  app: Hono,
  hospital: SingleSignOn,
  { accounts }: Pick<AccountPagesPorts, 'accounts'>,
  answers: ClinicAnswers,
  firstPage: string,
): void {
  const caller = callerOf(answers.address)
  const isSecure = (c: Context) => isSecureRequest(c.req.raw, answers.address)

  const away = async (c: Context, onward: string, invitation?: string) => {
    try {
      const begun = await hospital.begin(`${caller.site(c).origin}${BACK}`, onward, invitation)
      return answers.goTo(c, begun.url, { 'Set-Cookie': awayCookie(begun.away, isSecure(c)) })
    } catch {
      return answers.notice(c, 502, 'clinic-hospital-down')
    }
  }

  app.get('/sign-in/hospital', c => away(c, ownPath(c.req.query('onward') ?? '', firstPage)))

  app.get('/invited/:token/hospital', async c => {
    const token = c.req.param('token')
    const isOpen = /^[\w-]{43}$/.test(token) && (await accounts.waysIn.invited(token)) !== undefined
    return isOpen ? away(c, firstPage, token) : answers.notice(c, 410, 'clinic-invitation-gone')
  })

  app.get(BACK, async c => {
    const from = caller.from(c)
    if ((await accounts.signIn.waitOf(from)) !== undefined) return answers.notice(c, 429, 'clinic-hospital-not-proved')
    const { search } = new URL(c.req.url)
    const url = new URL(`${caller.site(c).origin}${BACK}${search}`)
    const back = await hospital.finish(url, awayIn(c.req.header('cookie') ?? null, isSecure(c)))
    const token = back.kind === 'proved' ? await tokenFor(back, from) : undefined
    if (token === undefined) await accounts.signIn.failed(from)
    const response =
      token === undefined
        ? await answers.notice(c, 401, 'clinic-hospital-not-proved')
        : answers.goTo(
            c,
            back.kind === 'proved' ? ownPath(back.away.onward, firstPage) : firstPage,
            caller.cookie(c, token),
          )
    response.headers.append('Set-Cookie', noAwayCookie(isSecure(c)))
    return response
  })

  /** The token of the session that begins; undefined where the hospital's account is nobody's here. */
  async function tokenFor(
    back: Extract<Awaited<ReturnType<SingleSignOn['finish']>>, { kind: 'proved' }>,
    from: Parameters<typeof accounts.signIn.failed>[0],
  ): Promise<string | undefined> {
    const { issuer, subject, away: kept } = back
    if (kept.invitation !== undefined) {
      const set = await accounts.waysIn.accept(kept.invitation, { kind: 'identity', issuer, subject }, from)
      return set.kind === 'done' ? set.token : undefined
    }
    const personId = await accounts.store.personOfIdentity(issuer, subject)
    if (personId === undefined) return undefined
    const outcome = await accounts.signIn.proved(personId, 'single-sign-on', from)
    return outcome.kind === 'signed-in' ? outcome.token : undefined
  }
}
