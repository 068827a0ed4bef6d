import { createHash } from 'node:crypto'
import { z } from 'zod'
import { CONTROLS, type Incoming } from '../../case/message.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { CONCERN_SERIAL } from './family-log.ts'

/** Longest text passed on whole, in UTF-16 units (inclusive); of what is longer the first and the last half are. */
export const TEXT_LENGTH_MAX = 100_000

/** A tap made without signal may be this old at most (ms); an older claim is cut to it. */
const MADE_AGO_MAX_MS = 24 * 3_600_000

/** Anything that shows: no space, control, format character, mark alone or filler. */
const VISIBLE = /[^\s\p{Cc}\p{Cf}\p{M}\u115f\u1160\u2800\u3164\uffa0]/u

const id = z.string().min(1).max(100)
/** A whole number as digits: no sign, point, exponent or other base, and small enough to be exact. */
const digits = z
  .string()
  .regex(/^\d{1,15}$/)
  .transform(Number)
const tapShape = z.object({
  // What only steadies the sending (nonce, age of the tap) never costs a family its message: unreadable, it is left out.
  nonce: z
    .string()
    .regex(/^[\w-]{8,80}$/)
    .optional()
    .catch(undefined),
  text: z.string().optional(),
  serial: digits.optional(),
  values: z.array(id).max(50).default([]),
  concern: id.optional(),
  control: z.enum(CONTROLS).optional(),
  subject: id.optional(),
  /** Language of the page it was made on. */
  lang: z
    .string()
    .regex(/^[a-zA-Z-]{2,12}$/)
    .optional()
    .catch(undefined),
  /** How long ago the tap was made, in ms, by the phone's own clock: its idea of the time of day is not used. */
  agoMs: z
    .string()
    .regex(/^\d{1,15}(?:\.\d{1,9})?$/)
    .transform(Number)
    .optional()
    .catch(undefined),
})

/** Fields of which two would be two messages. Words sent twice are both read. */
const ONE_EACH = ['serial', 'concern', 'control', 'subject']

/** What a post says, or why it says nothing. */
export type Tap =
  | { readonly kind: 'tap'; readonly incoming: Incoming }
  /** "Done" with nothing ticked. */
  | { readonly kind: 'nothing-chosen' }
  /** "Send" with nothing that can be seen in the box. */
  | { readonly kind: 'nothing-written' }
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
  if (ONE_EACH.some(name => (fields.get(name)?.length ?? 0) > 1)) return { kind: 'unreadable' }
  const only = (name: string): string | undefined => fields.get(name)?.[0]
  const read = tapShape.safeParse({
    nonce: only('nonce'),
    text: fields.get('text')?.join('\n'),
    serial: only('serial'),
    values: fields.get('value') ?? fields.get('values') ?? [],
    concern: only('concern'),
    control: only('control'),
    subject: only('subject'),
    lang: only('lang'),
    agoMs: only('agoMs'),
  })
  if (!read.success) return { kind: 'unreadable' }
  const body = bodyOf(read.data)
  if (body === undefined) return { kind: 'unreadable' }
  if (body.kind === 'text' && !VISIBLE.test(body.text)) return { kind: 'nothing-written' }
  if (body.kind === 'choice' && body.values.length === 0) return { kind: 'nothing-chosen' }
  const { nonce, agoMs, lang } = read.data
  return {
    kind: 'tap',
    incoming: {
      channel: 'web',
      chat,
      deliveryId: deliveryId(chat, body, nonce ?? randomId()),
      at,
      ...(agoMs === undefined ? {} : { madeAt: instant(at - Math.min(agoMs, MADE_AGO_MAX_MS)) }),
      ...(lang === undefined ? {} : { language: lang }),
      body,
    },
  }
}

/** Words beside a tap are what is read: no page of ours sends both, and a danger sign in them must not be lost. */
function bodyOf(tap: z.infer<typeof tapShape>): Incoming['body'] | undefined {
  if (tap.text !== undefined && tap.text.trim() !== '') return { kind: 'text', text: bounded(tap.text) }
  if (tap.control !== undefined) {
    return {
      kind: 'control',
      control: tap.control,
      ...(tap.subject === undefined ? {} : { subject: tap.subject.replace(/[\p{Cc}\p{Bidi_Control}]/gu, '') }),
    }
  }
  if (tap.concern !== undefined) return { kind: 'choice', serial: CONCERN_SERIAL, values: [tap.concern] }
  if (tap.serial !== undefined) return { kind: 'choice', serial: tap.serial, values: [...new Set(tap.values)] }
  return tap.text === undefined ? undefined : { kind: 'text', text: '' }
}

/** A text too long keeps its beginning and its end, and stays one too long, so that it still reads as too long. */
function bounded(text: string): string {
  if (text.length <= TEXT_LENGTH_MAX) return text
  const half = TEXT_LENGTH_MAX / 2
  return `${text.slice(0, half)}\n${text.slice(-half)}`
}

function deliveryId(chat: string, body: Incoming['body'], nonce: string): string {
  const what = createHash('sha256').update(JSON.stringify(body)).digest('base64url').slice(0, 12)
  const serial = body.kind === 'choice' ? `q${body.serial}` : body.kind
  return `${chat}.${serial}.${nonce}.${what}`
}
