import { GrammyError, HttpError } from 'grammy'

/** How one call ended, in the words that channels and pagers use. Reasons are codes: never a token, a chat or words. */
export type Outcome<T> =
  | { readonly kind: 'done'; readonly result: T }
  /** Not done, and worth another try. */
  | { readonly kind: 'failed'; readonly reason: string; readonly retryAfterMs?: number }
  /** It may have been done. */
  | { readonly kind: 'unknown'; readonly reason: string }
  /** No retry can help: blocked, gone, or not what the Bot API takes. */
  | { readonly kind: 'refused'; readonly reason: string }

/** The connection was never made: nothing can have been done. */
const NOT_CONNECTED = new Set(['ECONNREFUSED', 'ENOTFOUND', 'EAI_AGAIN', 'EHOSTUNREACH', 'ENETUNREACH', 'ENETDOWN'])

/**
 * What an error of a call means. The Bot API knows no key that makes a sending count once, so whatever was cut off on the way,
 * and every error of the server itself, may have been done.
 */
export function outcomeOf(error: unknown): Exclude<Outcome<never>, { kind: 'done' }> {
  if (error instanceof GrammyError) return answeredWith(error)
  const cause: unknown = error instanceof HttpError ? error.error : error
  const code = typeof cause === 'object' && cause !== null && 'code' in cause ? String(cause.code) : 'cut-off'
  return NOT_CONNECTED.has(code) ? { kind: 'failed', reason: code } : { kind: 'unknown', reason: code }
}

function answeredWith({
  error_code: code,
  description,
  parameters,
}: GrammyError): Exclude<Outcome<never>, { kind: 'done' }> {
  if (code === 429)
    return { kind: 'failed', reason: 'too-many-requests', retryAfterMs: (parameters.retry_after ?? 1) * 1_000 }
  if (isTokenRefused(code)) return { kind: 'failed', reason: 'token-refused' }
  if (code >= 500) return { kind: 'unknown', reason: `server-${code}` }
  if (code === 403) return { kind: 'refused', reason: 'blocked' }
  if (parameters.migrate_to_chat_id !== undefined) return { kind: 'refused', reason: 'chat-migrated' }
  if (/not modified/.test(description)) return { kind: 'refused', reason: 'not-modified' }
  if (/chat not found|user is deactivated/.test(description)) return { kind: 'refused', reason: 'chat-gone' }
  if (/to edit not found|message can't be edited|MESSAGE_ID_INVALID/.test(description))
    return { kind: 'refused', reason: 'message-gone' }
  return { kind: 'refused', reason: `refused-${code}` }
}

/** A token that is revoked answers 401; one that is no token at all 404. */
export const isTokenRefused = (code: number): boolean => code === 401 || code === 404
