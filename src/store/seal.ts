import { createCipheriv, createDecipheriv, randomBytes } from 'node:crypto'
import type { Instant } from '../time/instant.ts'

/**
 * Sealing: AES-256 in Galois/Counter Mode with a fresh random nonce of 96 bits and a tag of 128 bits (NIST SP 800-38D).
 * That standard allows one key 2^32 sealings with random nonces (its section 8.3). A case seals some hundred texts; the
 * clinic's key wraps one key a case. Nonces and keys come from the platform's cryptography and are not passed in, so that
 * no caller can repeat one.
 */

const CIPHER = 'aes-256-gcm'
export const KEY_BYTES = 32
const NONCE_BYTES = 12
const TAG_BYTES = 16

/** Starts every sealed text; another way of sealing will start with another number. */
const SEALED = 'sealed1:'

/** What a sealed text is bound to: opened for anything else it fails, so that rows cannot be swapped. */
export type Bound = readonly (string | number)[]

/** A sealed text or key that does not open: damaged, changed, moved from another row, or sealed with another key. */
export class SealBroken extends Error {
  override readonly name = 'SealBroken'
}

/** A new key: 256 random bits. */
export const newKey = (): Buffer => randomBytes(KEY_BYTES)

/** Nonce, sealed bytes and tag, one after the other. */
export function sealBytes(key: Uint8Array, bound: Bound, plain: Uint8Array): Buffer {
  const nonce = randomBytes(NONCE_BYTES)
  const cipher = createCipheriv(CIPHER, key, nonce, { authTagLength: TAG_BYTES })
  cipher.setAAD(boundBytes(bound))
  return Buffer.concat([nonce, cipher.update(plain), cipher.final(), cipher.getAuthTag()])
}

/** @throws SealBroken when the bytes are not exactly what was sealed with this key for this place */
export function openBytes(key: Uint8Array, bound: Bound, sealed: Uint8Array): Buffer {
  if (sealed.length < NONCE_BYTES + TAG_BYTES) throw new SealBroken('seal: too short to be anything that was sealed')
  const decipher = createDecipheriv(CIPHER, key, sealed.subarray(0, NONCE_BYTES), { authTagLength: TAG_BYTES })
  decipher.setAAD(boundBytes(bound))
  decipher.setAuthTag(sealed.subarray(sealed.length - TAG_BYTES))
  try {
    return Buffer.concat([decipher.update(sealed.subarray(NONCE_BYTES, sealed.length - TAG_BYTES)), decipher.final()])
  } catch (cause) {
    throw new SealBroken('seal: changed since it was sealed, or sealed with another key or for another place', {
      cause,
    })
  }
}

/** A text as it is stored. */
export function sealText(key: Uint8Array, bound: Bound, text: string): string {
  return SEALED + sealBytes(key, bound, Buffer.from(text, 'utf8')).toString('base64')
}

/** @throws SealBroken as `openBytes`, and for a text that was never sealed */
export function openText(key: Uint8Array, bound: Bound, sealed: string): string {
  if (!isSealed(sealed)) throw new SealBroken('seal: a stored text is not sealed')
  const digits = sealed.slice(SEALED.length)
  const bytes = Buffer.from(digits, 'base64')
  // Decoding passes over what is no base64; a text that was not written so by us is refused instead.
  if (bytes.toString('base64') !== digits) throw new SealBroken('seal: a sealed text was changed')
  return openBytes(key, bound, bytes).toString('utf8')
}

export const isSealed = (text: string): boolean => text.startsWith(SEALED)

/** Unambiguous: no two lists give the same bytes. */
const boundBytes = (bound: Bound): Buffer => Buffer.from(JSON.stringify(bound), 'utf8')

/** One key of the clinic. */
export interface ClinicKey {
  /** Eight hexadecimal digits, derived from the key itself; no secret. */
  readonly id: string
  readonly key: Uint8Array
}

/** The clinic's keys: the newest wraps, older ones still open what they wrapped. */
export interface ClinicKeys {
  readonly newest: ClinicKey
  of(id: string): ClinicKey | undefined
  readonly ids: readonly string[]
}

/** The data key of each case. */
export interface CaseKeys {
  /**
   * The key of a case; `erased` when it was destroyed; undefined when there never was one.
   * @throws SealBroken when it is there and cannot be unwrapped
   */
  find(caseId: string): Uint8Array | 'erased' | undefined
  /** The same, made when there never was one; durable on return. */
  make(caseId: string): Promise<Uint8Array | 'erased'>
  /** Destroys the key of a case, for good. Again: nothing. A case without a key is marked all the same. */
  erase(caseId: string, at: Instant): Promise<void>
  close(): Promise<void>
}
