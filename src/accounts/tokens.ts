import { createHash, createHmac, timingSafeEqual } from 'node:crypto'
import { type Instant, instant, type Milliseconds, minutes } from '../time/instant.ts'

/** What opens something is kept as its digest: whoever reads the store opens nothing. 256 random bits need no slow hash. */
export const tokenHash = (token: string): string => createHash('sha256').update(`clinic:${token}`).digest('hex')

/** Long enough to find the telephone, short enough that a stolen one is worth nothing (WebAuthn Level 2 advises 5 to 10 min.). */
export const CHALLENGE_LIVES: Milliseconds = minutes(10)
const NONCE_BYTES = 16
const MAC_BYTES = 16

/** What a challenge was made for; one made for signing in sets up nothing. */
export type ChallengePurpose = 'sign-in' | `set-up:${string}` | 'hospital' | `hospital-set-up:${string}`

/**
 * Challenges for passkeys and single sign-on that need no memory until they come back: nonce, end of life, and a MAC over both
 * and the purpose. Each is taken once. A flood of them fills nothing.
 */
export interface Challenges {
  /** base64url, 288 bits, 128 of them random. */
  make(purpose: ChallengePurpose, at: Instant): string
  /** Whether it is ours, for this purpose, not run out, and not taken before; it is taken then. */
  take(challenge: string, purpose: ChallengePurpose, at: Instant): boolean
}

/** @param key 256 random bits; challenges of another key are strange */
export function challenges(key: Uint8Array, bytes: (count: number) => Uint8Array): Challenges {
  const taken = new Map<string, Instant>()
  const macOf = (body: Uint8Array, purpose: ChallengePurpose): Buffer =>
    createHmac('sha256', key).update(`challenge:${purpose}:`).update(body).digest().subarray(0, MAC_BYTES)

  return {
    make(purpose, at) {
      const end = Buffer.alloc(4)
      end.writeUInt32BE(Math.ceil((at + CHALLENGE_LIVES) / 1000))
      const body = Buffer.concat([bytes(NONCE_BYTES), end])
      return Buffer.concat([body, macOf(body, purpose)]).toString('base64url')
    },
    take(challenge, purpose, at) {
      const read = Buffer.from(challenge, 'base64url')
      if (read.length !== NONCE_BYTES + 4 + MAC_BYTES) return false
      const body = read.subarray(0, NONCE_BYTES + 4)
      if (!timingSafeEqual(read.subarray(NONCE_BYTES + 4), macOf(body, purpose))) return false
      const end = instant(body.readUInt32BE(NONCE_BYTES) * 1000)
      const id = read.toString('base64url')
      if (end <= at || taken.has(id)) return false
      for (const [old, until] of taken) if (until <= at) taken.delete(old)
      taken.set(id, end)
      return true
    },
  }
}
