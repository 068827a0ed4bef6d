import { createHash } from 'node:crypto'
import type { TelegramCode } from '../http/telegram-links.ts'
import type { TelegramFile } from '../store/sqlite/telegram-file.ts'
import { after, days, type Instant } from '../time/instant.ts'

/** What a linking code starts with, so that no invitation of a family is taken for one. */
const MARK = 'k_'
const CODE = /^k_[A-Za-z0-9_-]{22}$/

/** A code of 128 random bits, as a deep link may carry it (Bot API, deep linking: at most 64 of A-Za-z0-9_-). */
export const codeOf = (bytes: Uint8Array): string => `${MARK}${Buffer.from(bytes).toString('base64url')}`

/** The code that `/start` carries, or undefined. */
export const codeIn = (payload: string): string | undefined => (CODE.test(payload) ? payload : undefined)

export const hashOfCode = (code: string): string => createHash('sha256').update(code).digest('hex')

/** Random bytes that a code is made of. */
export const CODE_BYTES = 16
const CODE_LIVES_MS = days(1)

/** A new code for one person, kept as its digest alone: whoever uses it gets that person's pages. */
export function newCodeFor(file: TelegramFile, personId: string, at: Instant, random: Uint8Array): TelegramCode {
  const code = codeOf(random)
  const until = after(at, CODE_LIVES_MS)
  const bot = file.known('username')
  file.keepCode(hashOfCode(code), personId, at, until)
  return { code, until, ...(bot === undefined ? {} : { link: `https://t.me/${bot}?start=${code}` }) }
}
