import type { DatabaseSync } from 'node:sqlite'
import { type Instant, instant } from '../../time/instant.ts'
import type { AlarmRow, StepRecord } from '../store.ts'

/** Alarms still to come. The caller holds the transaction. */
export interface AlarmRows {
  /** Cancels first, then sets; setting replaces an alarm of the same name. */
  change(caseId: string, alarms: StepRecord['alarms']): void
  due(at: Instant, limit: number): readonly AlarmRow[]
  next(): Instant | undefined
  /** When the alarm of this name is due; undefined when none is set. */
  of(caseId: string, name: string): Instant | undefined
  forget(caseId: string): void
}

export function alarmRows(db: DatabaseSync): AlarmRows {
  const sql = {
    cancel: db.prepare('DELETE FROM alarm WHERE case_id = ? AND name = ?'),
    set: db.prepare(
      'INSERT INTO alarm (case_id, name, due) VALUES (?, ?, ?) ON CONFLICT (case_id, name) DO UPDATE SET due = excluded.due',
    ),
    due: db.prepare('SELECT case_id, name, due FROM alarm WHERE due <= ? ORDER BY due, case_id, name LIMIT ?'),
    next: db.prepare('SELECT due FROM alarm ORDER BY due LIMIT 1'),
    of: db.prepare('SELECT due FROM alarm WHERE case_id = ? AND name = ?'),
    forget: db.prepare('DELETE FROM alarm WHERE case_id = ?'),
  }
  return {
    change: (caseId, { set, cancel }) => {
      for (const name of cancel) sql.cancel.run(caseId, name)
      for (const { name, due } of set) sql.set.run(caseId, name, due)
    },
    due: (at, limit) =>
      sql.due.all(at, limit).map(row => ({
        caseId: String(row.case_id),
        name: String(row.name),
        due: instant(Number(row.due)),
      })),
    next: () => {
      const row = sql.next.get()
      return row === undefined ? undefined : instant(Number(row.due))
    },
    of: (caseId, name) => {
      const row = sql.of.get(caseId, name)
      return row === undefined ? undefined : instant(Number(row.due))
    },
    forget: caseId => {
      sql.forget.run(caseId)
    },
  }
}
