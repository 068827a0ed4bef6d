import type { DatabaseSync, SQLOutputValue } from 'node:sqlite'
import type { ChatRef } from '../../case/message.ts'
import { type Instant, instant } from '../../time/instant.ts'
import type { CaseHead, Content, StepRecord, StoredCase, StoredEvent } from '../store.ts'

type Row = Record<string, SQLOutputValue>

/** Cases and their events. A case is known by the number of its opening here. The caller holds the transaction. */
export interface CaseRows {
  load(caseId: string): StoredCase<Content> | undefined
  ofChat(chat: ChatRef): readonly StoredCase<Content>[]
  recent(since: Instant): readonly StoredCase<Content>[]
  recentHeads(since: Instant): readonly CaseHead[]
  /** Up to `most` cases whose ids come after this one, in their order. */
  headsAfter(caseId: string, most: number): readonly CaseHead[]
  history(caseId: string): readonly StoredEvent<Content>[]
  event(caseId: string, seq: number): StoredEvent<Content> | undefined
  closedBefore(olderThan: Instant, mark: Content): readonly string[]
  /** Moves the case on by one event; the number of its opening, or undefined, with nothing written, when it is not at `step.from`. */
  advance(step: StepRecord<Content>): number | undefined
  /** Writes the event of a case that was moved on, with the last place and the count of what it put into the outbox. */
  record(opened: number, step: StepRecord<Content>, outboxLast: number | undefined): void
  /**
   * Closes the case, moves its event number on, so that a step on its way conflicts, and puts `mark` in the place of its
   * state and of every event. The number of its opening; undefined when it is not there or holds the mark already.
   */
  forget(caseId: string, mark: Content): number | undefined
}

/** Numbers kept in memory, at most: more than the cases that are open in any clinic. */
const KNOWN_MOST = 10_000

export function caseRows(db: DatabaseSync): CaseRows {
  const head = 'case_id, channel, chat, seq, closed, changed_at'
  const columns = `${head}, state`
  const latestFirst = 'ORDER BY changed_at DESC, opened DESC'
  const events = 'SELECT case_id, event.seq, at, event, effects FROM case_ JOIN event USING (opened) WHERE case_id = ?'
  // Two searches, each by its own partial index; one with OR would read every case there ever was.
  const recent = (read: string) =>
    db.prepare(
      `SELECT * FROM (SELECT ${read}, opened FROM case_ WHERE closed = 0
         UNION ALL SELECT ${read}, opened FROM case_ WHERE closed = 1 AND changed_at >= ?) ${latestFirst}`,
    )
  const sql = {
    load: db.prepare(`SELECT ${columns} FROM case_ WHERE case_id = ?`),
    ofChat: db.prepare(`SELECT ${columns} FROM case_ WHERE channel = ? AND chat = ? ${latestFirst}`),
    recent: recent(columns),
    recentHeads: recent(head),
    headsAfter: db.prepare(`SELECT ${head} FROM case_ WHERE case_id > ? ORDER BY case_id LIMIT ?`),
    history: db.prepare(`${events} ORDER BY event.seq`),
    one: db.prepare(`${events} AND event.seq = ?`),
    closedBefore: db.prepare(
      'SELECT case_id FROM case_ WHERE closed = 1 AND changed_at < ? AND state IS NOT ? ORDER BY changed_at, opened',
    ),
    number: db.prepare('SELECT opened FROM case_ WHERE case_id = ?'),
    open: db.prepare(
      'INSERT INTO case_ (case_id, channel, chat, seq, closed, changed_at, state) VALUES (?, ?, ?, 1, ?, ?, ?) ' +
        'ON CONFLICT (case_id) DO NOTHING',
    ),
    // No column of an index of an open case: one page is written. That is every step but the first and the last.
    stay: db.prepare(
      'UPDATE case_ SET seq = seq + 1, changed_at = ?, state = ? ' +
        'WHERE opened = ? AND case_id = ? AND seq = ? AND closed = 0 AND chat = ? AND channel = ?',
    ),
    move: db.prepare(
      'UPDATE case_ SET channel = ?, chat = ?, seq = seq + 1, closed = ?, changed_at = ?, state = ? ' +
        'WHERE case_id = ? AND seq = ? RETURNING opened',
    ),
    event: db.prepare(
      'INSERT INTO event (opened, seq, at, outbox_last, outbox_count, event, effects) VALUES (?, ?, ?, ?, ?, ?, ?)',
    ),
    forgetCase: db.prepare(
      'UPDATE case_ SET closed = 1, seq = seq + 1, state = ?1 WHERE case_id = ?2 AND state IS NOT ?1 RETURNING opened',
    ),
    forgetEvents: db.prepare('UPDATE event SET event = ?1, effects = ?1 WHERE opened = ?2'),
  }
  const numbers = new Map<string, number>()

  /** May be out of date where a group was undone; every use of it names the case as well. */
  function numberOf(caseId: string): number | undefined {
    const known = numbers.get(caseId)
    if (known !== undefined) return known
    const row = sql.number.get(caseId)
    if (row === undefined) return undefined
    if (numbers.size >= KNOWN_MOST) numbers.clear()
    numbers.set(caseId, Number(row.opened))
    return Number(row.opened)
  }

  function begin(step: StepRecord<Content>): number | undefined {
    const { channel, chat } = step.chat
    const made = sql.open.run(step.caseId, channel, chat, step.closed ? 1 : 0, step.at, step.state)
    return made.changes === 0 ? undefined : Number(made.lastInsertRowid)
  }

  function advance(step: StepRecord<Content>): number | undefined {
    if (step.from === 0) return begin(step)
    const { caseId, from, at, state } = step
    const { channel, chat } = step.chat
    if (!step.closed) {
      const opened = numberOf(caseId)
      if (opened === undefined) return undefined
      if (sql.stay.run(at, state, opened, caseId, from, chat, channel).changes > 0) return opened
      numbers.delete(caseId)
    }
    const moved = sql.move.get(channel, chat, step.closed ? 1 : 0, at, state, caseId, from)
    return moved === undefined ? undefined : Number(moved.opened)
  }

  return {
    load: caseId => {
      const row = sql.load.get(caseId)
      return row === undefined ? undefined : caseOf(row)
    },
    ofChat: chat => sql.ofChat.all(chat.channel, chat.chat).map(caseOf),
    recent: since => sql.recent.all(since).map(caseOf),
    recentHeads: since => sql.recentHeads.all(since).map(headOf),
    headsAfter: (caseId, most) => sql.headsAfter.all(caseId, most).map(headOf),
    history: caseId => sql.history.all(caseId).map(eventOf),
    event: (caseId, seq) => {
      const row = sql.one.get(caseId, seq)
      return row === undefined ? undefined : eventOf(row)
    },
    closedBefore: (olderThan, mark) => sql.closedBefore.all(olderThan, mark).map(row => String(row.case_id)),
    advance,
    record: (opened, step, outboxLast) => {
      const { at, event, effects, outbox } = step
      sql.event.run(opened, step.from + 1, at, outboxLast ?? null, outbox.length, event, effects)
    },
    forget: (caseId, mark) => {
      const row = sql.forgetCase.get(mark, caseId)
      if (row === undefined) return undefined
      sql.forgetEvents.run(mark, Number(row.opened))
      return Number(row.opened)
    },
  }
}

const headOf = (row: Row): CaseHead => ({
  caseId: String(row.case_id),
  chat: { channel: String(row.channel), chat: String(row.chat) },
  seq: Number(row.seq),
  closed: row.closed === 1,
  changedAt: instant(Number(row.changed_at)),
})

const caseOf = (row: Row): StoredCase<Content> => ({ ...headOf(row), state: contentOf(row.state) })

const eventOf = (row: Row): StoredEvent<Content> => ({
  caseId: String(row.case_id),
  seq: Number(row.seq),
  at: instant(Number(row.at)),
  event: contentOf(row.event),
  effects: contentOf(row.effects),
})

/** Text or bytes, as they were given. */
export function contentOf(stored: SQLOutputValue | undefined): Content {
  if (typeof stored === 'string' || stored instanceof Uint8Array) return stored
  throw new Error(`store: a content is of kind ${typeof stored}; expected text or bytes: the file was changed by hand`)
}
