import type { DatabaseSync, SQLOutputValue } from 'node:sqlite'
import { type Instant, instant } from '../../time/instant.ts'
import type { Content, Lane, NewOutboxRow, OutboxRow, Settled } from '../store.ts'
import { contentOf } from './case-rows.ts'

type Row = Record<string, SQLOutputValue>

/** Rows that leave, or have left. The caller holds the transaction. */
export interface OutboxRows {
  /** Writes what a step put out, in order, one place after the other; the last place, undefined for none. */
  add(opened: number, seq: number, rows: readonly NewOutboxRow<Content>[]): number | undefined
  hasClaimable(lane: Lane, at: Instant): boolean
  claim(lane: Lane, at: Instant, leaseMs: number, limit: number): readonly OutboxRow<Content>[]
  rendered(effectId: string, content: Content, at: Instant): void
  settle(effectId: string, outcome: Settled, tries?: number): void
  /** Ends every lease as if its time were over; how many. */
  release(): number
  ofCase(caseId: string): readonly OutboxRow<Content>[]
  /** Puts `mark` in the place of what the rows of a case hold, and gives up those that wait. */
  forget(opened: number, mark: Content, at: Instant, reason: string): void
}

export function outboxRows(db: DatabaseSync): OutboxRows {
  const mayHaveArrived = 'max(outcome_unknown, leased_until IS NOT NULL AND rendered_at IS NOT NULL)'
  const sql = {
    add: db.prepare(
      'INSERT INTO outbox (effect_id, opened, seq, lane, queue, effect, not_before) VALUES (?, ?, ?, ?, ?, ?, ?)',
    ),
    // Whether any row is due and not leased, first of its queue or not: most looks end here, at a fifth of the work.
    dueAtAll: db.prepare(
      `SELECT 1 FROM outbox
       WHERE status = 'waiting' AND lane = ?1 AND not_before <= ?2 AND (leased_until IS NULL OR leased_until <= ?2)
       LIMIT 1`,
    ),
    // Of each queue the first that waits; of those, what is due and not leased.
    claimable: db.prepare(
      `SELECT place FROM (
         SELECT min(place) AS place, not_before, leased_until FROM outbox
         WHERE status = 'waiting' AND lane = ?1 GROUP BY queue)
       WHERE not_before <= ?2 AND (leased_until IS NULL OR leased_until <= ?2)
       ORDER BY not_before, place LIMIT ?3`,
    ),
    // A lease still on the row has ended without a settle: whoever held it may have sent what was rendered.
    lease: db.prepare(
      `UPDATE outbox SET tries = tries + 1, leased_until = ?2, outcome_unknown = ${mayHaveArrived} WHERE place = ?1`,
    ),
    release: db.prepare(
      `UPDATE outbox SET leased_until = NULL, outcome_unknown = ${mayHaveArrived}
       WHERE status = 'waiting' AND leased_until IS NOT NULL`,
    ),
    at: db.prepare('SELECT outbox.*, case_id FROM outbox JOIN case_ USING (opened) WHERE place = ?'),
    rendered: db.prepare(
      `UPDATE outbox SET content = ?2, rendered_at = ?3 WHERE effect_id = ?1 AND status = 'waiting'`,
    ),
    one: db.prepare('SELECT status, tries FROM outbox WHERE effect_id = ?'),
    again: db.prepare(
      `UPDATE outbox SET not_before = ?2, outcome_unknown = max(outcome_unknown, ?3), leased_until = NULL
       WHERE effect_id = ?1`,
    ),
    end: db.prepare(
      'UPDATE outbox SET status = ?2, settled_at = ?3, reason = ?4, leased_until = NULL WHERE effect_id = ?1',
    ),
    // By the events of the case, each of which knows its rows: no index of the outbox by case has to be kept.
    ofCase: db.prepare(
      `SELECT outbox.*, case_id
       FROM case_ JOIN event USING (opened)
         JOIN outbox ON place BETWEEN outbox_last - outbox_count + 1 AND outbox_last
       WHERE case_id = ? ORDER BY place`,
    ),
    forget: db.prepare(
      `UPDATE outbox SET effect = ?2, content = iif(content IS NULL, NULL, ?2)
       WHERE place IN (
         SELECT place FROM event JOIN outbox ON place BETWEEN outbox_last - outbox_count + 1 AND outbox_last
         WHERE event.opened = ?1)`,
    ),
    giveUp: db.prepare(
      `UPDATE outbox SET status = 'given-up', settled_at = ?2, reason = ?3, leased_until = NULL
       WHERE status = 'waiting' AND opened = ?1`,
    ),
  }

  function existing(effectId: string, act: string): { readonly waiting: boolean; readonly tries: number } {
    const row = sql.one.get(effectId)
    if (row === undefined) throw new Error(`outbox: no row "${effectId}" to ${act}; expected the id of a claimed row`)
    return { waiting: row.status === 'waiting', tries: Number(row.tries) }
  }

  function settle(effectId: string, outcome: Settled, tries?: number): void {
    const row = existing(effectId, 'settle')
    if (!row.waiting) return
    const superseded = tries !== undefined && tries !== row.tries
    if (superseded && outcome.kind !== 'sent') return
    if (outcome.kind === 'again') sql.again.run(effectId, outcome.notBefore, outcome.outcomeUnknown ? 1 : 0)
    else sql.end.run(effectId, outcome.kind, outcome.at, outcome.kind === 'given-up' ? outcome.reason : null)
  }

  return {
    add: (opened, seq, rows) => {
      let last: number | undefined
      for (const { effectId, lane, queue, effect, notBefore } of rows) {
        last = Number(sql.add.run(effectId, opened, seq, lane, queue, effect, notBefore).lastInsertRowid)
      }
      return last
    },
    hasClaimable: (lane, at) =>
      sql.dueAtAll.get(lane, at) !== undefined && sql.claimable.get(lane, at, 1) !== undefined,
    claim: (lane, at, leaseMs, limit) =>
      sql.claimable.all(lane, at, limit).map(({ place = null }) => {
        sql.lease.run(place, at + leaseMs)
        const row = sql.at.get(place)
        if (row === undefined) throw new Error(`outbox: row at place ${place} went away while it was claimed`)
        return rowOf(row)
      }),
    rendered: (effectId, content, at) => {
      existing(effectId, 'render')
      sql.rendered.run(effectId, content, at)
    },
    settle,
    release: () => Number(sql.release.run().changes),
    forget: (opened, mark, at, reason) => {
      sql.giveUp.run(opened, at, reason)
      sql.forget.run(opened, mark)
    },
    ofCase: caseId => sql.ofCase.all(caseId).map(rowOf),
  }
}

function rowOf(row: Row): OutboxRow<Content> {
  const { content, rendered_at: renderedAt, reason, settled_at: settledAt } = row
  const status = statusOf(row.status)
  return {
    effectId: String(row.effect_id),
    caseId: String(row.case_id),
    seq: Number(row.seq),
    lane: row.lane === 'page' ? 'page' : 'family',
    queue: String(row.queue),
    effect: contentOf(row.effect),
    notBefore: instant(Number(row.not_before)),
    tries: Number(row.tries),
    ...(content === null ? {} : { content: contentOf(content) }),
    ...(typeof renderedAt === 'number' ? { renderedAt: instant(renderedAt) } : {}),
    status,
    ...(status === 'sent' && typeof settledAt === 'number' ? { sentAt: instant(settledAt) } : {}),
    ...(typeof reason === 'string' ? { reason } : {}),
    outcomeUnknown: row.outcome_unknown === 1,
  }
}

function statusOf(stored: SQLOutputValue | undefined): OutboxRow<Content>['status'] {
  if (stored === 'waiting' || stored === 'sent' || stored === 'given-up') return stored
  throw new Error(`outbox: a row has status "${stored}"; expected waiting, sent or given-up`)
}
