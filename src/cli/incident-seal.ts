/**
 * An incident bundle: sealed, so that only who has the passphrase or the clinic's key reads it, and signed over what is sealed, so that
 * anybody can tell that it was not changed. AES-256-GCM as everywhere here; the passphrase by scrypt (RFC 7914); the signature by
 * Ed25519 (RFC 8032), with a key of the data folder that is made when it is first needed.
 */
import {
  createHash,
  createPrivateKey,
  createPublicKey,
  generateKeyPairSync,
  type KeyObject,
  randomBytes,
  scryptSync,
  sign,
  verify,
} from 'node:crypto'
import { existsSync, readFileSync } from 'node:fs'
import { gunzipSync, gzipSync } from 'node:zlib'
import { z } from 'zod'
import { writeWhole } from '../config/clinic-save.ts'
import { type ClinicKeys, KEY_BYTES, openBytes, SealBroken, sealBytes } from '../store/seal.ts'
import type { CheckerResult } from './incident-check.ts'

export interface Bundle {
  readonly version: 1
  readonly madeAt: number
  readonly software: string
  readonly purpose: string
  readonly case: string
  readonly concern: string
  readonly flow: { readonly hash: string | null; readonly approvedContent: string | null }
  readonly approvals: readonly unknown[]
  /** What became of each page, at each address. */
  readonly pages: readonly unknown[]
  readonly replay: string
  /** What the checker says of the flow it was opened under. */
  readonly check: CheckerResult
  /** JSON Lines, with its flows. */
  readonly transcript: string
}

export type Lock =
  | { readonly kind: 'passphrase'; readonly passphrase: string }
  | { readonly kind: 'clinic-key'; readonly keys: () => ClinicKeys }

/** 2^16 × 8 × 128 bytes: 64 MB a try. */
const SCRYPT = { N: 1 << 16, r: 8, p: 1, maxmem: 128 << 20 } as const
const SALT_BYTES = 16
const BOUND = ['incident', 1] as const
/** An opened bundle larger than this is not unpacked: a few kilobytes can be made to unpack to anything. */
const UNPACKED_MOST = 256 << 20

const base64 = z.string().regex(/^[A-Za-z0-9+/]+={0,2}$/)
const fileSchema = z.strictObject({
  format: z.literal('smallhours-incident'),
  version: z.literal(1),
  lock: z.discriminatedUnion('kind', [
    z.strictObject({ kind: z.literal('passphrase'), salt: base64 }),
    z.strictObject({ kind: z.literal('clinic-key'), id: z.string().regex(/^[0-9a-f]{8}$/) }),
  ]),
  sealed: base64,
  publicKey: base64,
  signature: base64,
})
type SealedFile = z.infer<typeof fileSchema>

export interface Signing {
  readonly key: KeyObject
  readonly publicKey: Buffer
  /** SHA-256 of the public key, as hexadecimal digits. */
  readonly fingerprint: string
}

export function signingKey(file: string): Signing {
  if (!existsSync(file)) {
    const { privateKey } = generateKeyPairSync('ed25519')
    writeWhole(file, privateKey.export({ type: 'pkcs8', format: 'pem' }).toString(), 0o600)
  }
  const key = createPrivateKey(readFileSync(file, 'utf8'))
  const publicKey = createPublicKey(key).export({ type: 'spki', format: 'der' })
  return { key, publicKey, fingerprint: fingerprintOf(publicKey) }
}

const fingerprintOf = (publicKey: Uint8Array): string => createHash('sha256').update(publicKey).digest('hex')

export function sealIncident(bundle: Bundle, lock: Lock, signing: Signing): string {
  const packed = gzipSync(JSON.stringify(bundle))
  const { key, said } = lockedWith(lock)
  const unsigned = {
    format: 'smallhours-incident' as const,
    version: 1 as const,
    lock: said,
    sealed: sealBytes(key, [...BOUND, JSON.stringify(said)], packed).toString('base64'),
    publicKey: signing.publicKey.toString('base64'),
  }
  const signature = sign(null, signedBytes(unsigned), signing.key).toString('base64')
  return `${JSON.stringify({ ...unsigned, signature })}\n`
}

/** Everything but the signature, in fixed order. */
const signedBytes = ({ format, version, lock, sealed, publicKey }: Omit<SealedFile, 'signature'>): Buffer =>
  Buffer.from(JSON.stringify([format, version, lock, sealed, publicKey]), 'utf8')

function lockedWith(lock: Lock): { readonly key: Uint8Array; readonly said: SealedFile['lock'] } {
  if (lock.kind === 'clinic-key') {
    const { newest } = lock.keys()
    return { key: newest.key, said: { kind: 'clinic-key', id: newest.id } }
  }
  const salt = randomBytes(SALT_BYTES)
  return { key: keyFrom(lock.passphrase, salt), said: { kind: 'passphrase', salt: salt.toString('base64') } }
}

const keyFrom = (passphrase: string, salt: Buffer): Buffer =>
  scryptSync(passphrase.normalize('NFC'), salt, KEY_BYTES, SCRYPT)

type Verified = { readonly file: SealedFile; readonly signer: string } | { readonly fault: string }

/** Whether a file is as it was signed. Who signed is told by a fingerprint: the key in the file is its own word for that. */
export function verifyIncident(text: string): Verified {
  const file = read(text)
  if (file === undefined) return { fault: 'no incident bundle: it was cut off, or is another file' }
  const publicKey = Buffer.from(file.publicKey, 'base64')
  try {
    const key = createPublicKey({ key: publicKey, type: 'spki', format: 'der' })
    const isSigned =
      key.asymmetricKeyType === 'ed25519' && verify(null, signedBytes(file), key, Buffer.from(file.signature, 'base64'))
    return isSigned
      ? { file, signer: fingerprintOf(publicKey) }
      : { fault: 'it is not as it was signed: something in it was changed' }
  } catch {
    return { fault: 'the key in it is none' }
  }
}

function read(text: string): SealedFile | undefined {
  try {
    const parsed = fileSchema.safeParse(JSON.parse(text))
    return parsed.success ? parsed.data : undefined
  } catch {
    return undefined
  }
}

/** Opens what verifies; what does not is not opened. */
export function openIncident(
  text: string,
  lock: Lock,
): { readonly bundle: Bundle; readonly signer: string } | { readonly fault: string } {
  const verified = verifyIncident(text)
  if ('fault' in verified) return verified
  const { lock: said, sealed } = verified.file
  const key = keyFor(said, lock)
  if (typeof key === 'string') return { fault: key }
  try {
    const packed = openBytes(key, [...BOUND, JSON.stringify(said)], Buffer.from(sealed, 'base64'))
    const bundle = JSON.parse(gunzipSync(packed, { maxOutputLength: UNPACKED_MOST }).toString('utf8')) as Bundle
    return { bundle, signer: verified.signer }
  } catch (error) {
    if (error instanceof SealBroken) return { fault: 'it does not open: another passphrase or key was used' }
    return { fault: 'what is in it cannot be unpacked' }
  }
}

/** The key, or why there is none. */
function keyFor(said: SealedFile['lock'], lock: Lock): Uint8Array | string {
  if (said.kind !== lock.kind)
    return said.kind === 'passphrase'
      ? 'it is sealed with a passphrase: name its file with --passphrase-file'
      : 'it is sealed with the clinic’s key: name the data folder with --data, and no passphrase'
  if (lock.kind === 'passphrase')
    return keyFrom(lock.passphrase, Buffer.from(said.kind === 'passphrase' ? said.salt : '', 'base64'))
  const id = said.kind === 'clinic-key' ? said.id : ''
  return (
    lock.keys().of(id)?.key ?? `the clinic’s key ${id} is not in the data folder: put its line back from the saved copy`
  )
}
