import { createHmac, timingSafeEqual } from 'node:crypto'
import type { Clinician } from '../case/event.ts'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import { hours, type Instant, instant } from '../time/instant.ts'

/** A page's link works this long. */
const LIVES_MS = hours(24)
const MAC_BYTES = 12
const CASE_BYTES = 16

/**
 * The token of a page's link: case, person and end of life, signed with the clinic's key (HMAC-SHA256, 96 bits kept).
 * It opens one case for one person, and nothing else.
 */
export function pageToken(key: Buffer, page: { caseId: string; to: string; at: Instant }): string {
  const body = Buffer.concat([
    Buffer.from(page.caseId, 'hex'),
    digestOf(page.to),
    secondsOf(instant(page.at + LIVES_MS)),
  ])
  return Buffer.concat([body, macOf(key, body)]).toString('base64url')
}

export type OpenedToken = { readonly caseId: string; readonly clinician: Clinician } | 'expired' | 'unknown'

/** Reads a token; whatever is not exactly ours is `unknown`. */
export function openToken(key: Buffer, token: string, clinic: Clinic, at: Instant): OpenedToken {
  const bytes = Buffer.from(token, 'base64url')
  if (bytes.length !== CASE_BYTES + 4 + 4 + MAC_BYTES || bytes.toString('base64url') !== token) return 'unknown'
  const body = bytes.subarray(0, -MAC_BYTES)
  if (!timingSafeEqual(bytes.subarray(-MAC_BYTES), macOf(key, body))) return 'unknown'
  if (body.readUInt32BE(CASE_BYTES + 4) * 1000 < at) return 'expired'
  const to = body.subarray(CASE_BYTES, CASE_BYTES + 4)
  const id = [...clinic.people, ...clinic.desks].find(one => digestOf(one.id).equals(to))?.id
  const clinician = id === undefined ? undefined : clinicianOf(clinic, id)
  return clinician === undefined ? 'unknown' : { caseId: body.subarray(0, CASE_BYTES).toString('hex'), clinician }
}

/** A person or desk as they sign for what they do. */
export function clinicianOf(clinic: Clinic, id: string): Clinician | undefined {
  const found = reachableOf(clinic, id)
  if (found === undefined) return undefined
  return { id, name: found.name, role: found.kind === 'person' ? found.job : '' }
}

const digestOf = (id: string): Buffer => createHmac('sha256', 'page-to').update(id).digest().subarray(0, 4)
const macOf = (key: Buffer, body: Buffer): Buffer =>
  createHmac('sha256', key).update(body).digest().subarray(0, MAC_BYTES)

function secondsOf(at: Instant): Buffer {
  const bytes = Buffer.alloc(4)
  bytes.writeUInt32BE(Math.floor(at / 1000))
  return bytes
}
