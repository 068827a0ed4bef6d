import type { Configuration } from 'openid-client'
import type { ChallengePurpose, Challenges } from '../accounts/tokens.ts'
import type { Instant } from '../time/instant.ts'

/** How the hospital's own sign-in is reached. */
export interface SingleSignOnOptions {
  readonly name: string
  readonly issuer: string
  readonly clientId: string
  /** Read when it is first used; left out for a client without a secret. */
  readonly secret?: () => string
  readonly challenges: Challenges
  now(): Instant
  /** Plain http to this very machine: demonstrations and tests. */
  readonly isPlainHttpAllowed?: boolean
}

/** What a browser keeps, in a cookie no script can read, while it is away at the hospital's sign-in. */
export interface Away {
  readonly state: string
  readonly nonce: string
  readonly verifier: string
  /** Where to go afterwards. */
  readonly onward: string
  /** Token of the invitation this sets up; left out when it is to sign in. */
  readonly invitation?: string
}

export type Back =
  | { readonly kind: 'proved'; readonly issuer: string; readonly subject: string; readonly away: Away }
  /** What came back is not what this browser was sent away with, was used before, or the hospital did not say yes. */
  | { readonly kind: 'not-proved' }

/**
 * Signing in at the hospital (OpenID Connect Core 1.0, authorization code flow with PKCE, state and nonce). All we take from it is who it is, by issuer and subject;
 * which person of the clinic that is was settled when they used their invitation, and roles stay in the clinic's file.
 */
export interface SingleSignOn {
  readonly name: string
  /** Rejects where the hospital's sign-in cannot be reached. */
  begin(backTo: string, onward: string, invitation?: string): Promise<{ readonly url: string; readonly away: Away }>
  /** @param url  the whole address the browser came back with */
  finish(url: URL, away: Away | undefined): Promise<Back>
}

/** Seconds until a request to the hospital's sign-in is given up. */
const TIMEOUT_SECONDS = 10

/** The library, read where a clinic has this and somebody uses it. */
const library = () => import('openid-client')

export function singleSignOn(options: SingleSignOnOptions): SingleSignOn {
  const { challenges, now } = options
  let known: Promise<Configuration> | undefined

  /** What the hospital says of its sign-in; asked again where it could not be had. */
  function configuration(): Promise<Configuration> {
    known ??= discovered(options)
    known.catch(() => {
      known = undefined
    })
    return known
  }

  return {
    name: options.name,
    async begin(backTo, onward, invitation) {
      const client = await library()
      const state = challenges.make(purposeOf(invitation), now())
      const away = {
        state,
        nonce: client.randomNonce(),
        verifier: client.randomPKCECodeVerifier(),
        onward,
        ...(invitation === undefined ? {} : { invitation }),
      }
      const url = client.buildAuthorizationUrl(await configuration(), {
        redirect_uri: backTo,
        scope: 'openid',
        state,
        nonce: away.nonce,
        code_challenge: await client.calculatePKCECodeChallenge(away.verifier),
        code_challenge_method: 'S256',
        // On a ward's computer the last person may still be signed in at the hospital.
        prompt: 'login',
      })
      return { url: url.href, away }
    },
    async finish(url, away) {
      if (away === undefined || url.searchParams.get('state') !== away.state) return { kind: 'not-proved' }
      if (!challenges.take(away.state, purposeOf(away.invitation), now())) return { kind: 'not-proved' }
      const { authorizationCodeGrant, ClientError, ResponseBodyError, AuthorizationResponseError } = await library()
      try {
        const tokens = await authorizationCodeGrant(await configuration(), url, {
          pkceCodeVerifier: away.verifier,
          expectedState: away.state,
          expectedNonce: away.nonce,
          idTokenExpected: true,
        })
        const claims = tokens.claims()
        if (claims === undefined) return { kind: 'not-proved' }
        return { kind: 'proved', issuer: claims.iss, subject: claims.sub, away }
      } catch (error) {
        const isRefusal =
          error instanceof ClientError ||
          error instanceof ResponseBodyError ||
          error instanceof AuthorizationResponseError
        if (isRefusal) return { kind: 'not-proved' }
        throw error
      }
    },
  }
}

const purposeOf = (invitation: string | undefined): ChallengePurpose =>
  invitation === undefined ? 'hospital' : `hospital-set-up:${invitation}`

async function discovered({
  issuer,
  clientId,
  secret,
  isPlainHttpAllowed,
}: SingleSignOnOptions): Promise<Configuration> {
  const { allowInsecureRequests, ClientSecretBasic, discovery, None } = await library()
  const authentication = secret === undefined ? None() : ClientSecretBasic(secret())
  return discovery(new URL(issuer), clientId, undefined, authentication, {
    timeout: TIMEOUT_SECONDS,
    ...(isPlainHttpAllowed === true ? { execute: [allowInsecureRequests] } : {}),
  })
}

/** Name of the cookie, and how long it lives, in seconds: as long as a challenge. */
const COOKIE = 'hospital'
const COOKIE_SECONDS = 600

export function awayCookie(away: Away, isSecure: boolean): string {
  return cookieWith(Buffer.from(JSON.stringify(away)).toString('base64url'), COOKIE_SECONDS, isSecure)
}

export const noAwayCookie = (isSecure: boolean): string => cookieWith('', 0, isSecure)

/** `Lax`: it must come along when the hospital sends the browser back. */
function cookieWith(value: string, seconds: number, isSecure: boolean): string {
  const name = isSecure ? `__Host-${COOKIE}` : COOKIE
  return `${name}=${value}; Path=/; Max-Age=${seconds}; HttpOnly; SameSite=Lax${isSecure ? '; Secure' : ''}`
}

/** What the browser kept; undefined where there is nothing of ours. */
export function awayIn(header: string | null, isSecure: boolean): Away | undefined {
  const name = isSecure ? `__Host-${COOKIE}` : COOKIE
  const pair = (header ?? '').split(';').find(one => one.trim().startsWith(`${name}=`))
  try {
    const read = JSON.parse(Buffer.from(pair?.split('=')[1] ?? '', 'base64url').toString()) as Partial<Away>
    const { state, nonce, verifier, onward, invitation } = read
    if ([state, nonce, verifier, onward].some(one => typeof one !== 'string')) return undefined
    if (invitation !== undefined && typeof invitation !== 'string') return undefined
    return read as Away
  } catch {
    return undefined
  }
}
