import { type Instant, instant } from '../../time/instant.ts'
import type { CaseHead, OutboxRow } from '../store.ts'
import { contentOf } from './content.ts'
import type { Reply } from './nodes.ts'

/** A head as `heads.lua` gives it, with its place among the openings of its shard. */
export interface PlacedHead {
  readonly head: CaseHead
  readonly opened: number
}

export function headsIn(reply: Reply): PlacedHead[] {
  return listOf(reply).flatMap(one => {
    const [caseId, channel, chat, seq, closed, at, opened] = listOf(one).map(textOf)
    if (channel === undefined || chat === undefined) return []
    return [
      {
        head: {
          caseId: caseId ?? '',
          chat: { channel, chat },
          seq: Number(seq),
          closed: closed === '1',
          changedAt: instant(Number(at)),
        },
        opened: Number(opened),
      },
    ]
  })
}

/** Latest changed first; of those changed together the latest opened. */
export const byLatest = (a: PlacedHead, b: PlacedHead): number =>
  b.head.changedAt - a.head.changedAt || b.opened - a.opened

/** Rows as `claim.lua` and `outbox.lua` give them, each with its place among the rows of its shard. */
export function rowsIn(reply: Reply): { readonly row: OutboxRow<string | Uint8Array>; readonly place: number }[] {
  return listOf(reply).map(one => {
    const [id, fields, text] = listOf(one)
    return rowOf(textOf(id) ?? '', fieldsOf(fields), text)
  })
}

function rowOf(effectId: string, fields: ReadonlyMap<string, Buffer>, text: Reply | undefined) {
  const field = (name: string): string => fields.get(name)?.toString() ?? ''
  const at = (name: string): Instant | undefined => (fields.has(name) ? instant(Number(field(name))) : undefined)
  const status = statusOf(field('status'))
  const [renderedAt, settledAt, effect] = [at('rendered'), at('settled'), fields.get('effect')]
  const row: OutboxRow<string | Uint8Array> = {
    effectId,
    caseId: field('case'),
    seq: Number(field('seq')),
    lane: field('lane') === 'page' ? 'page' : 'family',
    queue: field('queue'),
    effect: effect === undefined ? '' : contentOf(effect),
    notBefore: instant(Number(field('due'))),
    tries: Number(field('tries')),
    ...(text instanceof Buffer ? { content: contentOf(text) } : {}),
    ...(renderedAt === undefined ? {} : { renderedAt }),
    status,
    ...(status === 'sent' && settledAt !== undefined ? { sentAt: settledAt } : {}),
    ...(fields.has('reason') ? { reason: field('reason') } : {}),
    outcomeUnknown: field('unknown') === '1',
  }
  return { row, place: Number(field('place')) }
}

function statusOf(stored: string): OutboxRow['status'] {
  if (stored === 'waiting' || stored === 'sent' || stored === 'given-up') return stored
  throw new Error(`outbox: a row has status "${stored}"; expected waiting, sent or given-up`)
}

export const listOf = (reply: Reply | undefined): readonly Reply[] => (Array.isArray(reply) ? reply : [])

export const textOf = (reply: Reply | undefined): string | undefined =>
  reply === null || reply === undefined || Array.isArray(reply) ? undefined : String(reply)

/** Fields and values that came one after the other. */
export function fieldsOf(reply: Reply | undefined): ReadonlyMap<string, Buffer> {
  const flat = listOf(reply)
  const fields = new Map<string, Buffer>()
  for (let index = 0; index + 1 < flat.length; index += 2) {
    const value = flat[index + 1]
    if (value instanceof Buffer) fields.set(String(flat[index]), value)
  }
  return fields
}
