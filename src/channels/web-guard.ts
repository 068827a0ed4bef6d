/**
 * What every web page of the bot has in common where safety of the browser is concerned: headers, the same-Origin
 * check on everything that is not a GET, and a limit on what is read. Used by the family's and the clinician's pages.
 */

/** Largest body of a request in bytes (inclusive), unless the route says otherwise. */
export const BODY_BYTES_MAX = 64 * 1024

/** How the public address of the server is known. */
export interface PublicAddress {
  /** Scheme and host as browsers see it (`https://feeding.clinic.example`); absent: taken from the request's Host. */
  readonly origin?: string
}

/**
 * Headers of every page. No request ever leaves for another host.
 *
 * `Referrer-Policy` is `same-origin`, not `no-referrer`: under `no-referrer` a browser sends `Origin: null` with a form
 * post (Fetch standard, "append a request Origin header"), and then the same-Origin check would turn away families whose
 * script is off and whose browser predates `Sec-Fetch-Site`. Nothing is sent to another origin either way.
 *
 * @param nonce  fresh for each response; style and script without it do not run
 * @param isSecure  true when families reach the server over https
 */
export function secureHeaders(nonce: string, isSecure: boolean): Record<string, string> {
  const policy = [
    "default-src 'none'",
    `script-src 'nonce-${nonce}'`,
    `style-src 'nonce-${nonce}'`,
    "img-src 'self' data:",
    "connect-src 'self'",
    "worker-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "object-src 'none'",
    "frame-ancestors 'none'",
  ].join('; ')
  return {
    'Content-Security-Policy': policy,
    'Cache-Control': 'no-store',
    'X-Content-Type-Options': 'nosniff',
    'X-Frame-Options': 'DENY',
    'Referrer-Policy': 'same-origin',
    'Cross-Origin-Opener-Policy': 'same-origin',
    'Cross-Origin-Resource-Policy': 'same-origin',
    'Permissions-Policy': 'camera=(), microphone=(), geolocation=()',
    'X-Robots-Tag': 'noindex, nofollow',
    ...(isSecure ? { 'Strict-Transport-Security': 'max-age=31536000' } : {}),
  }
}

/** Whether browsers reach the server over https: by the configured address, else by the request itself. */
export function isSecureRequest(request: Request, address: PublicAddress): boolean {
  return (address.origin ?? request.url).startsWith('https:')
}

/**
 * True when a request that changes something comes from one of our own pages (form or script, JSON too).
 * An `Origin` that names us passes; without one (or `null`) only the browser's own `Sec-Fetch-Site: same-origin` does.
 */
export function isSameOrigin(request: Request, address: PublicAddress): boolean {
  const origin = request.headers.get('origin')
  if (origin === null || origin === 'null') return request.headers.get('sec-fetch-site') === 'same-origin'
  if (address.origin !== undefined) return origin === address.origin
  const host = request.headers.get('host') ?? hostOf(request.url)
  return hostOf(origin) === host
}

function hostOf(url: string): string | undefined {
  return URL.canParse(url) ? new URL(url).host : undefined
}

/**
 * The body as text, or `undefined` when it is larger than `bytesMax`: reading stops there and the rest is dropped.
 * @param bytesMax  bytes, inclusive
 */
export async function bodyWithin(request: Request, bytesMax: number): Promise<string | undefined> {
  return (await bytesWithin(request, bytesMax))?.toString('utf8')
}

/** The same as bytes. */
export async function bytesWithin(request: Request, bytesMax: number): Promise<Buffer | undefined> {
  // Nothing here unpacks a body: one that says it is packed is no text.
  if (!/^(?:identity)?$/i.test(request.headers.get('content-encoding') ?? '')) return Buffer.alloc(0)
  if (Number(request.headers.get('content-length') ?? 0) > bytesMax) return undefined
  if (request.body === null) return Buffer.alloc(0)
  const chunks: Uint8Array[] = []
  let bytes = 0
  for await (const chunk of request.body) {
    bytes += chunk.byteLength
    if (bytes > bytesMax) return undefined
    chunks.push(chunk)
  }
  return Buffer.concat(chunks)
}

/**
 * Fields of a form or JSON body, each as a list of strings; `undefined` when it is neither, is in another encoding than
 * UTF-8, or cannot be read. Of a JSON key given twice the last counts (ECMAScript, JSON.parse); one without a value is left out.
 */
export function fieldsOf(body: string, contentType: string | null): Map<string, readonly string[]> | undefined {
  const [kind, ...parameters] = (contentType ?? '').split(';').map(part => part.trim().toLowerCase())
  if (parameters.some(part => /^charset=/.test(part) && !/^charset="?(?:utf-?8|us-ascii)"?$/.test(part)))
    return undefined
  if (kind === 'application/x-www-form-urlencoded') return formFields(body)
  if (kind === 'application/json') return jsonFields(body)
  return undefined
}

function formFields(body: string): Map<string, readonly string[]> {
  const fields = new Map<string, string[]>()
  for (const [name, value] of new URLSearchParams(body)) {
    const values = fields.get(name)
    if (values === undefined) fields.set(name, [value])
    else values.push(value)
  }
  return fields
}

function jsonFields(body: string): Map<string, readonly string[]> | undefined {
  const parsed = parsedJson(body)
  if (typeof parsed !== 'object' || parsed === null || Array.isArray(parsed)) return undefined
  const fields = new Map<string, readonly string[]>()
  for (const [name, value] of Object.entries(parsed)) {
    if (value === null) continue
    const values: readonly unknown[] = Array.isArray(value) ? value : [value]
    if (!values.every(v => typeof v === 'string' || typeof v === 'number')) return undefined
    fields.set(name, values.map(String))
  }
  return fields
}

function parsedJson(body: string): unknown {
  try {
    return JSON.parse(body)
  } catch {
    return undefined
  }
}
