import type { Context } from 'hono'
import type { Accounts } from '../accounts/accounts.ts'
import type { From } from '../accounts/sign-in.ts'
import type { ReadSignedIn } from '../accounts/signed-in.ts'
import { isSecureRequest, type PublicAddress } from '../channels/web-guard.ts'
import type { Person } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { clinicCookie, clinicTokenIn, noClinicCookie } from './clinic-cookie.ts'
import type { ClinicPagePorts } from './clinic-page.ts'
import type { Passkeys, Site } from './passkeys.ts'
import { addressOf } from './peer-address.ts'
import type { SingleSignOn } from './single-sign-on.ts'
import type { TelegramLinks } from './telegram-links.ts'

/** What the pages of accounts need from the rest of the bot. */
export interface AccountPagesPorts extends ClinicPagePorts {
  readonly accounts: Accounts
  readonly passkeys: Passkeys
  /** The hospital's own sign-in, where the clinic has one. */
  readonly singleSignOn?: SingleSignOn
  /** Where the clinic pages by Telegram. */
  readonly telegram?: TelegramLinks
  /** The people of the clinic's file, as it is now. */
  people(): readonly Person[]
  now(): Instant
  /** Date and clock time in the clinic's zone and form. */
  dayText(at: Instant): string
}

/** Reads who sends a request from its cookie. */
export const signedInReader =
  ({ sessions }: Accounts, address: PublicAddress): ReadSignedIn =>
  request =>
    sessions.signedIn(clinicTokenIn(request.headers.get('cookie'), isSecureRequest(request, address)))

/** What a request says beside its fields. */
export interface Caller {
  from(c: Context): From
  site(c: Context): Site
  /** The header that signs in, or out. */
  cookie(c: Context, token: string | undefined): Readonly<Record<string, string>>
}

export function callerOf(address: PublicAddress): Caller {
  const isSecure = (c: Context) => isSecureRequest(c.req.raw, address)
  return {
    from(c) {
      const oldToken = clinicTokenIn(c.req.header('cookie') ?? null, isSecure(c))
      return {
        address: addressOf(c.req.raw, address.origin !== undefined),
        browser: c.req.header('user-agent') ?? '',
        ...(oldToken === undefined ? {} : { oldToken }),
      }
    },
    site(c) {
      const origin = address.origin ?? new URL(c.req.url).origin
      return { origin, rpId: new URL(origin).hostname }
    },
    cookie: (c, token) => ({
      'Set-Cookie': token === undefined ? noClinicCookie(isSecure(c)) : clinicCookie(token, isSecure(c)),
    }),
  }
}
