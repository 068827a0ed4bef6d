import { createHash, createHmac } from 'node:crypto'
import { type LookupAddress, lookup } from 'node:dns'
import { type ClientRequest, request as httpRequest, type IncomingMessage } from 'node:http'
import { request as httpsRequest } from 'node:https'
import type { LookupFunction } from 'node:net'
import { passed } from '../points/points.ts'
import type { Instant } from '../time/instant.ts'
import type { Page, Paged, Pager } from './pager.ts'
import { underWay } from './under-way.ts'
import { mayConnect, type TargetRules, targetOf } from './webhook-target.ts'

export interface WebhookPagerOptions extends TargetRules {
  readonly id?: string
  /**
   * Signing secrets of the Standard Webhooks form, `whsec_` and base64 of 24 to 64 octets. The newest first; while one is
   * being replaced, two: each signs, so that a receiver may know either.
   */
  readonly secrets: readonly [string] | readonly [string, string]
  /** The present, for the signed timestamp. */
  readonly clock: () => Instant
  /** Milliseconds for the whole exchange. Default 10,000. */
  readonly timeoutMs?: number
  /** Certificate of the clinic's own authority, in PEM. */
  readonly ca?: string
  /** Resolves names; default the system's. */
  readonly resolve?: (host: string, found: (error: Error | null, addresses: LookupAddress[]) => void) => void
}

const bodyBytesMost = 20_000
const retryAfterMsMost = 3_600_000

/**
 * Pages by a signed HTTP request, after the Standard Webhooks specification (headers `webhook-id`, `webhook-timestamp`,
 * `webhook-signature`; HMAC-SHA256 over "id.timestamp.body"). A repeat carries the same id.
 *
 * Only https to public addresses, unless configured; checked again at the moment of connecting, on the very address
 * connected to, so that a name that resolves elsewhere the second time leads nowhere. Redirects are not followed.
 *
 * Outcomes: 2xx `accepted`; 408, 425, 429 and 5xx `failed`; any other reply `refused`; no connection `failed`;
 * connected and then no reply `unknown`.
 *
 * @throws RangeError on a secret that is not of the form above; the message never carries it
 */
export function webhookPager(options: WebhookPagerOptions): Pager {
  const keys = options.secrets.map(keyOf)
  const sends = underWay('webhook pager', error => `the request could not be made (${codeOf(error)})`)
  return {
    id: options.id ?? 'webhook',
    page: async page => {
      const url = targetOf(page.address, options)
      if (!(url instanceof URL)) return { kind: 'refused', reason: url.refused }
      const body = bodyOf(page)
      if (Buffer.byteLength(body) > bodyBytesMost) return { kind: 'refused', reason: 'the page is over 20 kB' }
      return sends.carry(() => post(url, body, signedHeaders(page, body, keys, options.clock()), options))
    },
    stop: () => sends.stop(),
  }
}

/** The key of a `whsec_` secret. */
export function keyOf(secret: string): Buffer {
  const [, encoded] = /^whsec_([A-Za-z0-9+/]+={0,2})$/.exec(secret) ?? []
  const key = Buffer.from(encoded ?? '', 'base64')
  if (key.length < 24 || key.length > 64) {
    throw new RangeError(
      'webhook secret: expected "whsec_" and base64 of 24 to 64 octets; make one with: openssl rand -base64 32',
    )
  }
  return key
}

/** The signature of one key, without its version prefix: base64 of HMAC-SHA256 over "id.timestamp.body". */
export function signatureOf(key: Buffer, id: string, timestamp: string, body: string): string {
  return createHmac('sha256', key).update(`${id}.${timestamp}.${body}`).digest('base64')
}

function signedHeaders(page: Page, body: string, keys: readonly Buffer[], at: Instant): Record<string, string> {
  // A digest: whatever the key is made of, the id fits a header and holds no full stop.
  const id = `page_${createHash('sha256').update(page.key).digest('base64url')}`
  const timestamp = String(Math.floor(at / 1000))
  return {
    'content-type': 'application/json; charset=utf-8',
    'content-length': String(Buffer.byteLength(body)),
    'webhook-id': id,
    'webhook-timestamp': timestamp,
    'webhook-signature': keys.map(key => `v1,${signatureOf(key, id, timestamp, body)}`).join(' '),
  }
}

function bodyOf({ at, code, text, link, urgency, to, kind, repeated }: Page): string {
  const data = { code, text, link, urgency, to: to.id, kind, repeated }
  return JSON.stringify({ type: 'page', timestamp: new Date(at).toISOString(), data })
}

function post(url: URL, body: string, headers: Record<string, string>, options: WebhookPagerOptions): Promise<Paged> {
  passed('pager.webhook.posting')
  return new Promise<Paged>((resolve, reject) => {
    let isConnected = false
    const request: ClientRequest = (url.protocol === 'https:' ? httpsRequest : httpRequest)(url, {
      method: 'POST',
      headers,
      agent: false,
      lookup: guardedLookup(url, options),
      ...(options.ca === undefined ? {} : { ca: options.ca }),
    })
    const lost = (how: string): Paged =>
      isConnected
        ? { kind: 'unknown', reason: `the receiver did not answer: ${how}` }
        : { kind: 'failed', reason: `no connection to the receiver: ${how}` }
    const end = (outcome: Paged) => {
      passed('pager.webhook.answered')
      clearTimeout(deadline)
      request.destroy()
      resolve(outcome)
    }
    const deadline = setTimeout(() => end(lost('time is up')), options.timeoutMs ?? 10_000)
    request.on('socket', socket => {
      const event = url.protocol === 'https:' ? 'secureConnect' : 'connect'
      socket.once(event, () => {
        isConnected = true
        passed('pager.webhook.connected')
      })
    })
    request.on('error', error => end(error instanceof TargetRefused ? refusedTarget : lost(codeOf(error))))
    request.on('response', response => {
      end(outcomeOf(response, options.clock()))
      response.on('error', () => undefined)
    })
    try {
      request.end(body)
    } catch (error) {
      clearTimeout(deadline)
      reject(error)
    }
  })
}

class TargetRefused extends Error {
  override readonly name = 'TargetRefused'
}
const refusedTarget: Paged = {
  kind: 'refused',
  reason: 'the name leads to an address that is not on the public internet and not allowed in the configuration',
}

/** Resolves the name once and hands over only what may be connected to. */
function guardedLookup(url: URL, options: WebhookPagerOptions): LookupFunction {
  const resolve = options.resolve ?? ((host, found) => lookup(host, { all: true }, found))
  return (host, { all }, done) =>
    resolve(host, (error, addresses) => {
      if (error !== null) return done(error, '')
      const [first] = addresses
      if (first === undefined || !mayConnect(url, addresses, options)) return done(new TargetRefused(), '')
      if (all === true) done(null, addresses)
      else done(null, first.address, first.family)
    })
}

/** The reply's first line decides; its body is never read. */
function outcomeOf({ statusCode = 0, headers }: IncomingMessage, now: Instant): Paged {
  if (statusCode >= 200 && statusCode <= 299) return { kind: 'accepted' }
  const reason = `the receiver answered ${statusCode}`
  if (statusCode >= 300 && statusCode <= 399)
    return { kind: 'refused', reason: `${reason}; redirects are not followed` }
  const isPassing = statusCode >= 500 || statusCode === 408 || statusCode === 425 || statusCode === 429
  if (!isPassing) return { kind: 'refused', reason }
  const retryAfterMs = retryAfterOf(headers['retry-after'], now)
  return retryAfterMs === undefined ? { kind: 'failed', reason } : { kind: 'failed', reason, retryAfterMs }
}

/** Retry-After as seconds or as a date (RFC 9110 section 10.2.3), in milliseconds from `now`; at most an hour. */
function retryAfterOf(header: string | undefined, now: Instant): number | undefined {
  if (header === undefined) return undefined
  // Date.parse alone would take "-5" for a year.
  const until = / GMT$/.test(header) ? Date.parse(header) : Number.NaN
  const asked = /^\d{1,9}$/.test(header) ? Number(header) * 1000 : until - now
  return Number.isFinite(asked) ? Math.min(Math.max(0, asked), retryAfterMsMost) : undefined
}

const codeOf = (error: unknown): string =>
  error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : 'no code'
