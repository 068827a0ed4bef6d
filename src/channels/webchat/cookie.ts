import { createHash } from 'node:crypto'

/** How long a phone keeps its chat, in seconds: 30 days, renewed by every visit. */
const COOKIE_SECONDS = 30 * 24 * 3600

/**
 * The cookie holds the key of the chat, at least 128 random bits. The chat's id in the store is made from it and not
 * the other way round, so nothing stored or logged lets anyone open the chat.
 */
export function chatOf(cookie: string): string {
  return createHash('sha256').update(`chat:${cookie}`).digest('base64url').slice(0, 22)
}

/** The chat's key from a Cookie header, or undefined when there is none of ours. */
export function cookieIn(header: string | null): string | undefined {
  for (const pair of (header ?? '').split(';')) {
    const [name = '', value = ''] = pair.trim().split('=', 2)
    if ((name === '__Host-chat' || name === 'chat') && /^[\w-]{16,64}$/.test(value)) return value
  }
  return undefined
}

/**
 * `Lax`, not `Strict`: a family that follows a link to the open case (clinic's site, an e-mail) must find its case, and
 * `Strict` would show it an empty first page. Nothing changes on a GET, and every POST is checked for its Origin.
 */
export function cookieFor(key: string, isSecure: boolean): string {
  const rest = `Path=/; Max-Age=${COOKIE_SECONDS}; HttpOnly; SameSite=Lax`
  return isSecure ? `__Host-chat=${key}; ${rest}; Secure` : `chat=${key}; ${rest}`
}

/** The language a browser last saw, for pages that show no chat. Nothing hangs on it: the case keeps its own. */
export function languageCookie(tag: string, isSecure: boolean): string {
  return `lang=${tag}; Path=/; Max-Age=${COOKIE_SECONDS}; HttpOnly; SameSite=Lax${isSecure ? '; Secure' : ''}`
}

/** The language in a Cookie header, or undefined when there is none. */
export function languageInCookie(header: string | null): string | undefined {
  return /(?:^|;\s*)lang=([a-zA-Z-]{2,12})(?:;|$)/.exec(header ?? '')?.[1]
}
