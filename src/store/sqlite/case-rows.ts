import type { DatabaseSync, SQLOutputValue } from 'node:sqlite'
import type { ChatRef } from '../../case/message.ts'
import { type Instant, instant } from '../../time/instant.ts'
import type { StepRecord, StoredCase, StoredEvent } from '../store.ts'

type Row = Record<string, SQLOutputValue>

/** Cases and their events. The caller holds the transaction. */
export interface CaseRows {
  load(caseId: string): StoredCase | undefined
  ofChat(chat: ChatRef): readonly StoredCase[]
  recent(since: Instant): readonly StoredCase[]
  history(caseId: string): readonly StoredEvent[]
  wasDelivered(delivery: { readonly channel: string; readonly deliveryId: string }): boolean
  /** Moves the case on by one event; false, with nothing written, when it is not at `step.from`. */
  advance(step: StepRecord): boolean
}

export function caseRows(db: DatabaseSync): CaseRows {
  const columns = 'case_id, channel, chat, seq, closed, changed_at, state'
  const latestFirst = 'ORDER BY changed_at DESC, opened DESC'
  const sql = {
    load: db.prepare(`SELECT ${columns} FROM case_ WHERE case_id = ?`),
    ofChat: db.prepare(`SELECT ${columns} FROM case_ WHERE channel = ? AND chat = ? ${latestFirst}`),
    // Two searches, each by its own partial index; one with OR would read every case there ever was.
    recent: db.prepare(
      `SELECT * FROM (SELECT ${columns}, opened FROM case_ WHERE closed = 0
         UNION ALL SELECT ${columns}, opened FROM case_ WHERE closed = 1 AND changed_at >= ?) ${latestFirst}`,
    ),
    history: db.prepare('SELECT case_id, seq, at, event, effects FROM event WHERE case_id = ? ORDER BY seq'),
    delivered: db.prepare('SELECT 1 FROM event WHERE channel = ? AND delivery_id = ?'),
    open: db.prepare(
      'INSERT INTO case_ (case_id, channel, chat, seq, closed, changed_at, state) VALUES (?, ?, ?, 1, ?, ?, ?) ' +
        'ON CONFLICT (case_id) DO NOTHING',
    ),
    move: db.prepare(
      'UPDATE case_ SET channel = ?, chat = ?, seq = seq + 1, closed = ?, changed_at = ?, state = ? ' +
        'WHERE case_id = ? AND seq = ?',
    ),
    event: db.prepare(
      'INSERT INTO event (case_id, seq, at, event, effects, channel, delivery_id) VALUES (?, ?, ?, ?, ?, ?, ?)',
    ),
  }

  function advance(step: StepRecord): boolean {
    const { channel, chat } = step.chat
    const closed = step.closed ? 1 : 0
    const moved =
      step.from === 0
        ? sql.open.run(step.caseId, channel, chat, closed, step.at, step.state)
        : sql.move.run(channel, chat, closed, step.at, step.state, step.caseId, step.from)
    if (moved.changes === 0) return false
    const { delivery } = step
    const from = [delivery?.channel ?? null, delivery?.deliveryId ?? null] as const
    sql.event.run(step.caseId, step.from + 1, step.at, step.event, step.effects, ...from)
    return true
  }

  return {
    load: caseId => {
      const row = sql.load.get(caseId)
      return row === undefined ? undefined : caseOf(row)
    },
    ofChat: chat => sql.ofChat.all(chat.channel, chat.chat).map(caseOf),
    recent: since => sql.recent.all(since).map(caseOf),
    history: caseId => sql.history.all(caseId).map(eventOf),
    wasDelivered: delivery => sql.delivered.get(delivery.channel, delivery.deliveryId) !== undefined,
    advance,
  }
}

const caseOf = (row: Row): StoredCase => ({
  caseId: String(row.case_id),
  chat: { channel: String(row.channel), chat: String(row.chat) },
  seq: Number(row.seq),
  closed: row.closed === 1,
  changedAt: instant(Number(row.changed_at)),
  state: String(row.state),
})

const eventOf = (row: Row): StoredEvent => ({
  caseId: String(row.case_id),
  seq: Number(row.seq),
  at: instant(Number(row.at)),
  event: String(row.event),
  effects: String(row.effects),
})
