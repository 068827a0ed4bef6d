import type { CaseEvent } from '../case/event.ts'
import type { ChatRef, Outgoing, Part } from '../case/message.ts'
import type { LogLine } from '../case/view.ts'
import type { OutboxRow, Store } from '../store/store.ts'
import { keptOf } from './sending.ts'

/** What was said and told in one case, in order, word for word. */
export async function logOfCase(
  store: Pick<Store, 'history' | 'outboxOf'>,
  caseId: string,
): Promise<readonly LogLine[]> {
  const [history, rows] = [await store.history(caseId), await store.outboxOf(caseId)]
  const replies = Map.groupBy(
    rows.filter(row => row.lane === 'family'),
    row => row.seq,
  )
  return history.flatMap(stored => {
    const said = saidIn(JSON.parse(stored.event) as CaseEvent)
    const family: LogLine[] =
      said === undefined ? [] : [{ at: stored.at, speaker: { kind: 'family' }, parts: [], said, reached: 'received' }]
    return [...family, ...(replies.get(stored.seq) ?? []).flatMap(toldIn)]
  })
}

/** The same for a chat: its cases one after the other, the first opened first. */
export async function logOfChat(
  store: Pick<Store, 'casesOf' | 'history' | 'outboxOf'>,
  chat: ChatRef,
): Promise<readonly LogLine[]> {
  const cases = await store.casesOf(chat)
  const logs = await Promise.all(cases.map(each => logOfCase(store, each.caseId)))
  return logs
    .filter(log => log.length > 0)
    .sort((a, b) => (a[0]?.at ?? 0) - (b[0]?.at ?? 0))
    .flat()
}

/** The family's words in an event, or undefined where there are none. */
function saidIn(event: CaseEvent): string | undefined {
  const said = 'said' in event ? event.said : undefined
  return said === undefined || said === '' ? undefined : said
}

/**
 * A reply as it was rendered: a clinician's own words as that clinician's line, the bot's as the bot's, in order. One that
 * has not been rendered yet has no words, so there is nothing to show.
 */
function toldIn(row: OutboxRow): readonly LogLine[] {
  const outgoing = keptOf<Outgoing>(row)
  if (outgoing === undefined) return []
  const at = row.sentAt ?? row.renderedAt ?? outgoing.at
  const reached = reachedOf(row)
  const lines: { readonly speaker: LogLine['speaker']; readonly parts: Part[] }[] = []
  for (const part of outgoing.parts) {
    const speaker = speakerOf(part)
    const last = lines.at(-1)
    if (last !== undefined && isSame(last.speaker, speaker)) last.parts.push(part)
    else lines.push({ speaker, parts: [part] })
  }
  return lines.map(({ speaker, parts }) => ({ at, speaker, parts, reached }))
}

function speakerOf(part: Part): LogLine['speaker'] {
  return part.kind === 'person' ? { kind: 'clinician', name: part.name, role: part.role } : { kind: 'bot' }
}

function isSame(a: LogLine['speaker'], b: LogLine['speaker']): boolean {
  return a.kind === 'clinician' && b.kind === 'clinician' ? a.name === b.name : a.kind === b.kind
}

function reachedOf(row: OutboxRow): LogLine['reached'] {
  if (row.status === 'sent') return 'delivered'
  if (row.status === 'given-up') return 'not-delivered'
  return row.outcomeUnknown ? 'unknown' : 'waiting'
}
