import type { AuthenticationResponseJSON, RegistrationResponseJSON } from '@simplewebauthn/server'
import type { Passkey } from '../accounts/account-store.ts'
import type { ChallengePurpose, Challenges } from '../accounts/tokens.ts'
import type { Instant } from '../time/instant.ts'

/** How a browser reaches us, as WebAuthn binds a passkey to it. */
export interface Site {
  /** Host name alone. */
  readonly rpId: string
  readonly origin: string
}

export interface PasskeyPorts {
  readonly challenges: Challenges
  now(): Instant
  /** The clinic's name, shown by the browser. */
  clinicName(): string
}

type NewPasskey = Omit<Passkey, 'addedAt' | 'usedAt'>

/**
 * Passkeys (WebAuthn Level 2). The key itself asks for the owner's finger, face or number, so it is two proofs in one; the
 * browser gives it to no other site. No attestation: which make of key somebody has is not asked.
 */
export interface Passkeys {
  setUpOptions(
    site: Site,
    person: { readonly id: string; readonly name: string },
    existing: readonly Passkey[],
  ): Promise<object>
  /** What was set up, or undefined where anything about it is not right. */
  setUp(answer: unknown, site: Site, personId: string, label: string): Promise<NewPasskey | undefined>
  signInOptions(site: Site): Promise<object>
  /** Which passkey was shown and what it has counted to, or undefined where anything about it is not right. */
  prove(
    answer: unknown,
    site: Site,
    find: (credentialId: string) => Promise<Passkey | undefined>,
  ): Promise<{ readonly credentialId: string; readonly counter: number } | undefined>
}

/** ES256, Ed25519, RS256: what today's keys and telephones make (COSE algorithm numbers). */
const ALGORITHMS = [-7, -8, -257]
const TRANSPORTS = ['ble', 'cable', 'hybrid', 'internal', 'nfc', 'smart-card', 'usb'] as const
type Transport = (typeof TRANSPORTS)[number]
const LABEL_LENGTH_MOST = 40

/** Read when somebody uses a passkey: no family waits for it. */
const library = () => import('@simplewebauthn/server')

export function passkeys({ challenges, now, clinicName }: PasskeyPorts): Passkeys {
  const made = (purpose: ChallengePurpose) => new Uint8Array(Buffer.from(challenges.make(purpose, now()), 'base64url'))
  const isOurs = (purpose: ChallengePurpose) => (challenge: string) => challenges.take(challenge, purpose, now())

  return {
    async setUpOptions({ rpId }, person, existing) {
      const { generateRegistrationOptions } = await library()
      return generateRegistrationOptions({
        rpName: clinicName(),
        rpID: rpId,
        userName: person.id,
        userDisplayName: person.name,
        userID: new Uint8Array(Buffer.from(person.id)),
        challenge: made(`set-up:${person.id}`),
        attestationType: 'none',
        excludeCredentials: existing.map(({ credentialId, transports }) => ({
          id: credentialId,
          transports: transports.filter(isTransport),
        })),
        authenticatorSelection: { residentKey: 'required', userVerification: 'required' },
        supportedAlgorithmIDs: ALGORITHMS,
      })
    },
    async setUp(answer, { origin, rpId }, personId, label) {
      const { verifyRegistrationResponse } = await library()
      const checked = await verifyRegistrationResponse({
        response: answer as RegistrationResponseJSON,
        expectedChallenge: isOurs(`set-up:${personId}`),
        expectedOrigin: origin,
        expectedRPID: rpId,
        requireUserVerification: true,
        supportedAlgorithmIDs: ALGORITHMS,
      }).catch(notRight)
      if (checked?.verified !== true) return undefined
      const { id, publicKey, counter, transports } = checked.registrationInfo.credential
      return {
        credentialId: id,
        publicKey,
        counter,
        label: label
          .replace(/\p{Cc}/gu, ' ')
          .trim()
          .slice(0, LABEL_LENGTH_MOST),
        transports: (transports ?? []).filter(isTransport),
      }
    },
    async signInOptions({ rpId }) {
      const { generateAuthenticationOptions } = await library()
      return generateAuthenticationOptions({ rpID: rpId, challenge: made('sign-in'), userVerification: 'required' })
    },
    async prove(answer, { origin, rpId }, find) {
      const { verifyAuthenticationResponse } = await library()
      const response = answer as AuthenticationResponseJSON
      const known = typeof response?.id === 'string' ? await find(response.id) : undefined
      if (known === undefined) return undefined
      const { credentialId, publicKey, counter, transports } = known
      const checked = await verifyAuthenticationResponse({
        response,
        expectedChallenge: isOurs('sign-in'),
        expectedOrigin: origin,
        expectedRPID: rpId,
        credential: { id: credentialId, publicKey, counter, transports: transports.filter(isTransport) },
        requireUserVerification: true,
      }).catch(notRight)
      return checked?.verified === true ? { credentialId, counter: checked.authenticationInfo.newCounter } : undefined
    },
  }
}

/** Whatever the library throws on was sent by a browser: it is a passkey that is not right, never a fault of ours. */
const notRight = (): undefined => undefined

const isTransport = (said: string): said is Transport => TRANSPORTS.some(one => one === said)
