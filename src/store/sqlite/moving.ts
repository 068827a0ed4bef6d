import type { SQLOutputValue } from 'node:sqlite'
import { instant } from '../../time/instant.ts'
import { type Movable, stepsInOrder, type WholeCase, type WholeRow, type WholeStep } from '../whole-chat.ts'
import { contentOf } from './case-rows.ts'
import { openDatabase } from './database.ts'

type Row = Record<string, SQLOutputValue>

/** The file of a store, to be carried over or filled. Nothing serves from it meanwhile: the caller sees to that. */
export function openMovableFile(file: string, busyTimeoutMs = 2_000): Movable {
  const db = openDatabase(file, busyTimeoutMs)
  const sql = {
    chats: db.prepare('SELECT channel, chat FROM case_ GROUP BY channel, chat ORDER BY min(opened)'),
    cases: db.prepare('SELECT * FROM case_ WHERE channel = ? AND chat = ? ORDER BY opened'),
    isThere: db.prepare('SELECT 1 FROM case_ WHERE channel = ? AND chat = ? LIMIT 1'),
    alarms: db.prepare('SELECT name, due FROM alarm WHERE case_id = ? ORDER BY name'),
    events: db.prepare('SELECT * FROM event WHERE opened = ? ORDER BY seq'),
    rows: db.prepare('SELECT * FROM outbox WHERE place BETWEEN ? AND ? ORDER BY place'),
    deliveries: db.prepare('SELECT channel, delivery_id FROM delivery'),
    addDelivery: db.prepare('INSERT INTO delivery (channel, delivery_id) VALUES (?, ?) ON CONFLICT DO NOTHING'),
    addCase: db.prepare(
      'INSERT INTO case_ (case_id, channel, chat, seq, closed, changed_at, state) VALUES (?, ?, ?, ?, ?, ?, ?)',
    ),
    addAlarm: db.prepare('INSERT INTO alarm (case_id, name, due) VALUES (?, ?, ?)'),
    addEvent: db.prepare(
      'INSERT INTO event (opened, seq, at, outbox_last, outbox_count, event, effects) VALUES (?, ?, ?, ?, ?, ?, ?)',
    ),
    addRow: db.prepare(
      `INSERT INTO outbox (effect_id, opened, seq, lane, queue, effect, not_before, tries, content, rendered_at, status,
         settled_at, outcome_unknown, reason) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
  }

  /** All of it or nothing. */
  function together<T>(begin: string, work: () => T): T {
    db.exec(begin)
    try {
      const done = work()
      db.exec('COMMIT')
      return done
    } catch (error) {
      db.exec('ROLLBACK')
      throw error
    }
  }

  function stepOf(row: Row): WholeStep {
    const [last, count] = [row.outbox_last, Number(row.outbox_count)]
    const rows = last === null ? [] : sql.rows.all(Number(last) - count + 1, Number(last))
    return {
      order: Number(row.written),
      at: instant(Number(row.at)),
      event: contentOf(row.event),
      effects: contentOf(row.effects),
      rows: rows.map(rowOf),
    }
  }

  function caseOf(row: Row): WholeCase {
    const caseId = String(row.case_id)
    return {
      caseId,
      seq: Number(row.seq),
      closed: row.closed === 1,
      changedAt: instant(Number(row.changed_at)),
      state: contentOf(row.state),
      alarms: sql.alarms.all(caseId).map(({ name, due }) => ({ name: String(name), due: instant(Number(due)) })),
      steps: sql.events.all(Number(row.opened)).map(stepOf),
    }
  }

  function addRow(opened: number, seq: number, row: WholeRow): number {
    const { effectId, lane, queue, effect, notBefore, tries, content, renderedAt, status, settledAt, reason } = row
    const unknown = row.outcomeUnknown ? 1 : 0
    return Number(
      sql.addRow.run(
        ...[effectId, opened, seq, lane, queue, effect, notBefore, tries],
        ...[content ?? null, renderedAt ?? null, status, settledAt ?? null, unknown, reason ?? null],
      ).lastInsertRowid,
    )
  }

  return {
    chats: async () => sql.chats.all().map(({ channel, chat }) => ({ channel: String(channel), chat: String(chat) })),
    take: async chat => together('BEGIN', () => ({ chat, cases: sql.cases.all(chat.channel, chat.chat).map(caseOf) })),
    put: async whole =>
      together('BEGIN IMMEDIATE', () => {
        const { channel, chat } = whole.chat
        if (sql.isThere.get(channel, chat) !== undefined) return false
        const numbers = new Map<string, number>()
        for (const { caseId, seq, closed, changedAt, state, alarms } of whole.cases) {
          const made = sql.addCase.run(caseId, channel, chat, seq, closed ? 1 : 0, changedAt, state)
          numbers.set(caseId, Number(made.lastInsertRowid))
          for (const { name, due } of alarms) sql.addAlarm.run(caseId, name, due)
        }
        for (const { of, seq, step } of stepsInOrder(whole)) {
          const opened = numbers.get(of.caseId) ?? 0
          const last = step.rows.map(row => addRow(opened, seq, row)).at(-1) ?? null
          sql.addEvent.run(opened, seq, step.at, last, step.rows.length, step.event, step.effects)
        }
        return true
      }),
    deliveries: async () =>
      sql.deliveries.all().map(row => ({ channel: String(row.channel), deliveryId: String(row.delivery_id) })),
    putDeliveries: async deliveries =>
      together('BEGIN IMMEDIATE', () => {
        for (const { channel, deliveryId } of deliveries) sql.addDelivery.run(channel, deliveryId)
      }),
    close: async () => {
      db.exec('PRAGMA wal_checkpoint(TRUNCATE)')
      db.close()
    },
  }
}

function rowOf(row: Row): WholeRow {
  const { content, rendered_at: renderedAt, settled_at: settledAt, reason, status } = row
  const wasLeased = row.leased_until !== null && renderedAt !== null
  return {
    effectId: String(row.effect_id),
    lane: row.lane === 'page' ? 'page' : 'family',
    queue: String(row.queue),
    effect: contentOf(row.effect),
    notBefore: instant(Number(row.not_before)),
    tries: Number(row.tries),
    ...(content === null ? {} : { content: contentOf(content) }),
    ...(typeof renderedAt === 'number' ? { renderedAt: instant(renderedAt) } : {}),
    status: status === 'sent' || status === 'given-up' ? status : 'waiting',
    ...(typeof settledAt === 'number' ? { settledAt: instant(settledAt) } : {}),
    ...(typeof reason === 'string' ? { reason } : {}),
    outcomeUnknown: row.outcome_unknown === 1 || wasLeased,
  }
}
