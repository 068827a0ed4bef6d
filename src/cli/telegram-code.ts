import { createHash } from 'node:crypto'

/** What a linking code starts with, so that no invitation of a family is taken for one. */
const MARK = 'k_'
const CODE = /^k_[A-Za-z0-9_-]{22}$/

/** A code of 128 random bits, as a deep link may carry it (Bot API, deep linking: at most 64 of A-Za-z0-9_-). */
export const codeOf = (bytes: Uint8Array): string => `${MARK}${Buffer.from(bytes).toString('base64url')}`

/** The code that `/start` carries, or undefined. */
export const codeIn = (payload: string): string | undefined => (CODE.test(payload) ? payload : undefined)

export const hashOfCode = (code: string): string => createHash('sha256').update(code).digest('hex')
