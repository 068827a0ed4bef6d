import { createHash, timingSafeEqual } from 'node:crypto'
import type { Update } from 'grammy/types'
import type { Taken } from './take-once.ts'

/** Where the Bot API delivers, below the clinic's address. */
export const WEBHOOK_PATH = '/telegram/updates'

/** Largest update in bytes (inclusive); a message has at most 4,096 characters, and a keyboard what we gave it. */
const BYTES_MAX = 256 * 1024

export interface WebhookPorts {
  /** What the header `X-Telegram-Bot-Api-Secret-Token` must carry. */
  readonly secret: string
  readonly take: (update: Update) => Promise<Taken>
  /** An update was delivered with the right secret. */
  heard(): void
}

/** Answers 200 once what an update leads to is durable; 503 asks for it again; nobody else's request is read. */
export function webhookDoor({ secret, take, heard }: WebhookPorts): { fetch(request: Request): Promise<Response> } {
  const expected = digest(secret)
  return {
    async fetch(request) {
      const given = request.headers.get('x-telegram-bot-api-secret-token')
      if (given === null || !timingSafeEqual(digest(given), expected)) return empty(401)
      if (request.method !== 'POST') return empty(405)
      const update = await updateIn(request)
      if (update === 'too-big') return empty(413)
      if (update === undefined) return empty(400)
      heard()
      const taken = await take(update)
      if (typeof taken !== 'object') return empty(200)
      return empty(503, { 'Retry-After': String(Math.max(1, Math.ceil(taken.againAfterMs / 1_000))) })
    },
  }
}

async function updateIn(request: Request): Promise<Update | 'too-big' | undefined> {
  const chunks: Uint8Array[] = []
  let bytes = 0
  for await (const chunk of request.body ?? []) {
    bytes += chunk.byteLength
    if (bytes > BYTES_MAX) return 'too-big'
    chunks.push(chunk)
  }
  try {
    const read: unknown = JSON.parse(Buffer.concat(chunks).toString('utf8'))
    return isUpdate(read) ? read : undefined
  } catch {
    return undefined
  }
}

const isUpdate = (read: unknown): read is Update =>
  typeof read === 'object' && read !== null && 'update_id' in read && Number.isInteger(read.update_id)

/** Both are brought to one length first, so that the comparison tells nothing about either. */
const digest = (text: string): Buffer => createHash('sha256').update(text).digest()

const empty = (status: number, headers: Record<string, string> = {}): Response =>
  new Response(null, { status, headers: { 'Cache-Control': 'no-store', ...headers } })
