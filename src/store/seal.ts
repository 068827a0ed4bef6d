import { createCipheriv, createDecipheriv, type KeyObject, randomBytes } from 'node:crypto'
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
const DRAWN_NONCES = 256

/** Starts every sealed text; another way of sealing will start with another number. */
export const SEALED: Uint8Array = Buffer.from('sealed2:')

/** What a sealed text is bound to: opened for anything else it fails, so that rows cannot be swapped. */
export type Bound = readonly (string | number)[]

/** A sealed text or key that does not open: damaged, changed, moved from another row, or sealed with another key. */
export class SealBroken extends Error {
  override readonly name = 'SealBroken'
}

/** A new key: 256 random bits. */
export const newKey = (): Buffer => randomBytes(KEY_BYTES)

let drawn = Buffer.alloc(0)
let drawnUsed = 0

/** Random bits no other nonce was made of; drawn for many nonces at once, which costs a tenth. */
function newNonce(): Buffer {
  if (drawnUsed >= drawn.length) {
    drawn = randomBytes(NONCE_BYTES * DRAWN_NONCES)
    drawnUsed = 0
  }
  drawnUsed += NONCE_BYTES
  return drawn.subarray(drawnUsed - NONCE_BYTES, drawnUsed)
}

/** What was sealed, in parts to be put one after the other: nonce, sealed bytes, tag. */
function sealedParts(key: Uint8Array | KeyObject, bound: Bound, plain: Uint8Array | string): Buffer[] {
  const nonce = newNonce()
  const cipher = createCipheriv(CIPHER, key, nonce, { authTagLength: TAG_BYTES })
  cipher.setAAD(boundBytes(bound))
  const sealed = typeof plain === 'string' ? cipher.update(plain, 'utf8') : cipher.update(plain)
  return [nonce, sealed, cipher.final(), cipher.getAuthTag()]
}

/** Nonce, sealed bytes and tag, one after the other. */
export const sealBytes = (key: Uint8Array | KeyObject, bound: Bound, plain: Uint8Array): Buffer =>
  Buffer.concat(sealedParts(key, bound, plain))

/** @throws SealBroken when the bytes are not exactly what was sealed with this key for this place */
export function openBytes(key: Uint8Array | KeyObject, bound: Bound, sealed: Uint8Array): Buffer {
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

/** A text as it is stored: the mark of sealing, then as `sealBytes`. */
export const sealText = (key: KeyObject, bound: Bound, text: string): Buffer =>
  Buffer.concat([SEALED, ...sealedParts(key, bound, text)])

/** @throws SealBroken as `openBytes`, and for what was never sealed */
export function openText(key: KeyObject, bound: Bound, sealed: string | Uint8Array): string {
  if (typeof sealed === 'string' || SEALED.some((byte, index) => sealed[index] !== byte)) {
    throw new SealBroken('seal: a stored text is not sealed')
  }
  return openBytes(key, bound, sealed.subarray(SEALED.length)).toString('utf8')
}

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

/** The data key of each case, held ready for the cipher: one made of bytes anew for every text costs twice the sealing. */
export interface CaseKeys {
  /**
   * The key of a case; `erased` when it was destroyed; undefined when there never was one.
   * @throws SealBroken when it is there and cannot be unwrapped
   */
  find(caseId: string): KeyObject | 'erased' | undefined
  /** The same, made when there never was one; durable on return. */
  make(caseId: string): Promise<KeyObject | 'erased'>
  /** Destroys the key of a case, for good. Again: nothing. A case without a key is marked all the same. */
  erase(caseId: string, at: Instant): Promise<void>
  close(): Promise<void>
}
