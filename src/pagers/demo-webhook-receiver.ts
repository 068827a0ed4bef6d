import { timingSafeEqual } from 'node:crypto'
import { createServer, type IncomingMessage } from 'node:http'
import type { Instant } from '../time/instant.ts'
import { type Listening, listenHere } from './listen-here.ts'
import type { Received } from './received.ts'
import { keyOf, signatureOf } from './webhook.ts'

const bodyBytesMost = 20_000
/** How far a signed timestamp may be from the present, either way (Standard Webhooks leaves the figure to the receiver). */
const skewSecondsMost = 300

export interface DemoWebhookOptions {
  readonly clock: () => Instant
  readonly webhookSecret: string
}

/** Takes signed pages and refuses all else: 401 for a signature or time that is wrong, 413, 405, 400. */
export function demoWebhookReceiver(
  take: (received: Omit<Received, 'at'>) => void,
  { clock, webhookSecret }: DemoWebhookOptions,
): Promise<Listening> {
  const key = keyOf(webhookSecret)
  const answer = async (request: IncomingMessage): Promise<number> => {
    if (request.method !== 'POST') return 405
    const body = await bodyOf(request)
    if (body === undefined) return 413
    const id = headerOf(request, 'webhook-id')
    if (!isSigned(request, id, body, key, clock())) return 401
    const page = pageIn(body)
    if (page === undefined) return 400
    take({ how: 'webhook', id, ...page })
    return 204
  }
  return listenHere(
    createServer((request, response) => {
      answer(request).then(
        status => response.writeHead(status).end(),
        () => response.writeHead(400).end(),
      )
    }),
  )
}

function isSigned(request: IncomingMessage, id: string, body: string, key: Buffer, now: Instant): boolean {
  const timestamp = headerOf(request, 'webhook-timestamp')
  if (id === '' || !/^\d{1,12}$/.test(timestamp)) return false
  if (Math.abs(now / 1000 - Number(timestamp)) > skewSecondsMost) return false
  const expected = Buffer.from(`v1,${signatureOf(key, id, timestamp, body)}`)
  return headerOf(request, 'webhook-signature')
    .split(' ')
    .map(signature => Buffer.from(signature))
    .some(signature => signature.length === expected.length && timingSafeEqual(signature, expected))
}

async function bodyOf(request: IncomingMessage): Promise<string | undefined> {
  const pieces: Buffer[] = []
  let bytes = 0
  for await (const piece of request) {
    const octets = Buffer.from(piece)
    bytes += octets.length
    if (bytes > bodyBytesMost) return undefined
    pieces.push(octets)
  }
  return Buffer.concat(pieces).toString('utf8')
}

function pageIn(body: string): { readonly to: string; readonly text: string } | undefined {
  const parsed: unknown = JSON.parse(body)
  const data = fieldOf(parsed, 'data')
  const [to, text] = [fieldOf(data, 'to'), fieldOf(data, 'text')]
  return typeof to === 'string' && typeof text === 'string' ? { to, text } : undefined
}

const fieldOf = (value: unknown, name: string): unknown =>
  typeof value === 'object' && value !== null ? Reflect.get(value, name) : undefined

const headerOf = (request: IncomingMessage, name: string): string => {
  const value = request.headers[name]
  return typeof value === 'string' ? value : ''
}
