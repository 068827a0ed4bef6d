import { createHash } from 'node:crypto'
import { z } from 'zod'
import type { Control, Incoming } from '../../case/message.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { CONCERN_SERIAL } from './family-log.ts'

/** Longest text passed on, in UTF-16 units (inclusive); what is longer is cut one past it, so that it still reads as too long. */
export const TEXT_LENGTH_MAX = 100_000

/** A tap made without signal may be this old at most (ms); an older claim is cut to it. */
const MADE_AGO_MAX_MS = 24 * 3_600_000

const CONTROLS = [
  'person',
  'wrong-tap',
  'they-rang',
  'cannot-travel',
  'change',
  'new-child',
  'show-handover',
  'start',
] as const satisfies readonly Control[]

const id = z.string().min(1).max(100)
const tapShape = z.object({
  nonce: z
    .string()
    .regex(/^[\w-]{8,80}$/)
    .optional(),
  text: z.string().optional(),
  serial: z.coerce.number().int().min(0).max(Number.MAX_SAFE_INTEGER).optional(),
  values: z.array(id).max(50).default([]),
  concern: id.optional(),
  control: z.enum(CONTROLS).optional(),
  subject: id.optional(),
  /** How long ago the tap was made, in ms, by the phone's own clock: its idea of the time of day is not used. */
  agoMs: z.coerce.number().min(0).optional(),
})

/** What a post says, or why it says nothing. */
export type Tap =
  | { readonly kind: 'tap'; readonly incoming: Incoming }
  /** "Done" with nothing ticked. */
  | { readonly kind: 'nothing-chosen' }
  | { readonly kind: 'unreadable' }

/**
 * Turns the fields of a post into a message.
 *
 * The delivery id is made of the chat, what was tapped and the nonce of the page it was tapped on: the same tap twice
 * (a shaking hand, a browser that sends again) is one message, two different taps on one page are two.
 */
export function tapOf(
  fields: ReadonlyMap<string, readonly string[]>,
  chat: string,
  at: Instant,
  randomId: () => string,
): Tap {
  const first = (name: string): string | undefined => fields.get(name)?.[0]
  const read = tapShape.safeParse({
    nonce: first('nonce'),
    text: first('text'),
    serial: first('serial'),
    values: fields.get('value') ?? fields.get('values') ?? [],
    concern: first('concern'),
    control: first('control'),
    subject: first('subject'),
    agoMs: first('agoMs'),
  })
  if (!read.success) return { kind: 'unreadable' }
  const body = bodyOf(read.data)
  if (body === undefined) return { kind: 'unreadable' }
  if (body.kind === 'choice' && body.values.length === 0) return { kind: 'nothing-chosen' }
  const { nonce, agoMs } = read.data
  return {
    kind: 'tap',
    incoming: {
      channel: 'web',
      chat,
      deliveryId: deliveryId(chat, body, nonce ?? randomId()),
      at,
      ...(agoMs === undefined ? {} : { madeAt: instant(at - Math.min(agoMs, MADE_AGO_MAX_MS)) }),
      body,
    },
  }
}

function bodyOf(tap: z.infer<typeof tapShape>): Incoming['body'] | undefined {
  if (tap.control !== undefined) {
    return { kind: 'control', control: tap.control, ...(tap.subject === undefined ? {} : { subject: tap.subject }) }
  }
  if (tap.concern !== undefined) return { kind: 'choice', serial: CONCERN_SERIAL, values: [tap.concern] }
  if (tap.serial !== undefined) return { kind: 'choice', serial: tap.serial, values: [...new Set(tap.values)] }
  if (tap.text !== undefined) return { kind: 'text', text: tap.text.slice(0, TEXT_LENGTH_MAX + 1) }
  return undefined
}

function deliveryId(chat: string, body: Incoming['body'], nonce: string): string {
  const what = createHash('sha256').update(JSON.stringify(body)).digest('base64url').slice(0, 12)
  const serial = body.kind === 'choice' ? `q${body.serial}` : body.kind
  return `${chat}.${serial}.${nonce}.${what}`
}
