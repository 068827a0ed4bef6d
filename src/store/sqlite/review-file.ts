import type { SQLOutputValue } from 'node:sqlite'
import { type CaseSummary, SUMMARY_VERSION } from '../../review/case-summary.ts'
import type { ActionEnd, ReviewAction } from '../../review/review-action.ts'
import type { DrawMade, MonthRow, QueueRow, ReviewStore } from '../../review/review-store.ts'
import type { Reason } from '../../review/sampling.ts'
import { mayNotScore, type Score } from '../../review/score.ts'
import { instant } from '../../time/instant.ts'
import { type DatabaseKind, openDatabase } from './database.ts'

/** "smlr". */
const reviewDatabase: DatabaseKind = {
  applicationId: 0x736d6c72,
  schemaVersion: 2,
  migrations: './review-migrations/',
}
/** How long a write waits for another process: the bot serves while somebody imports at the command line. */
const BUSY_TIMEOUT_MS = 2_000

type Row = Record<string, SQLOutputValue>

/**
 * Opens (or makes) the file of reviews.
 *
 * @param how  `unchecked`: without looking at every page first, which takes some tenths of a second at a hundred thousand cases
 * @throws StoreUnusable as the store's own file does
 */
export function openReviewFile(file: string, how: 'checked' | 'unchecked' = 'checked'): ReviewStore {
  const db = openDatabase(file, BUSY_TIMEOUT_MS, reviewDatabase, how)
  const sql = {
    keep: db.prepare(
      'INSERT INTO summary VALUES (?, ?, ?, ?) ON CONFLICT (case_id) DO UPDATE SET month = excluded.month, opened_at = excluded.opened_at, content = excluded.content',
    ),
    reach: db.prepare(
      'INSERT INTO summarised VALUES (1, ?) ON CONFLICT (one) DO UPDATE SET changed_at = max(changed_at, excluded.changed_at)',
    ),
    reached: db.prepare('SELECT changed_at FROM summarised'),
    summary: db.prepare('SELECT content FROM summary WHERE case_id = ?'),
    all: db.prepare('SELECT content FROM summary ORDER BY opened_at, case_id'),
    ofMonth: db.prepare('SELECT content FROM summary WHERE month = ? ORDER BY opened_at, case_id'),
    months: db.prepare(
      `SELECT month, count(*) AS cases, (SELECT count(*) FROM pick WHERE pick.month = summary.month) AS picked,
       EXISTS (SELECT 1 FROM draw WHERE draw.month = summary.month) AS drawn FROM summary GROUP BY month ORDER BY month DESC`,
    ),
    draw: db.prepare('SELECT * FROM draw WHERE month = ?'),
    addDraw: db.prepare('INSERT INTO draw VALUES (?, ?, ?, ?, ?, ?)'),
    addPick: db.prepare('INSERT INTO pick VALUES (?, ?, ?, ?)'),
    pick: db.prepare('SELECT 1 FROM pick WHERE case_id = ?'),
    picks: db.prepare('SELECT case_id, reasons FROM pick WHERE month = ? ORDER BY place'),
    scoresOf: db.prepare('SELECT content FROM score WHERE case_id = ? ORDER BY line'),
    scores: db.prepare('SELECT case_id, content FROM score ORDER BY line'),
    scoresIn: db.prepare(
      'SELECT score.case_id, content FROM score JOIN pick USING (case_id) WHERE pick.month = ? ORDER BY line',
    ),
    addScore: db.prepare('INSERT INTO score (case_id, reviewer, at, content) VALUES (?, ?, ?, ?)'),
    addFlag: db.prepare('INSERT INTO flag VALUES (?, ?, ?) ON CONFLICT (case_id) DO NOTHING'),
    flags: db.prepare('SELECT case_id FROM flag'),
    // A case of a month that was drawn before it was flagged is reviewed all the same.
    pickFlagged: db.prepare(
      `INSERT INTO pick SELECT summary.case_id, summary.month, 1 + (SELECT coalesce(max(place), -1) FROM pick WHERE pick.month = summary.month), 'flagged'
       FROM summary JOIN draw USING (month) JOIN flag USING (case_id)
       WHERE summary.case_id = ? AND NOT EXISTS (SELECT 1 FROM pick WHERE pick.case_id = summary.case_id)`,
    ),
    addAction: db.prepare('INSERT INTO action (case_id, says, owner, due, at, by) VALUES (?, ?, ?, ?, ?, ?)'),
    actions: db.prepare(
      `SELECT action.*, action_end.how, action_end.says AS end_says, action_end.at AS end_at, action_end.by AS end_by
       FROM action LEFT JOIN action_end ON action_end.action = action.line ORDER BY due, line`,
    ),
    endAction: db.prepare('INSERT INTO action_end VALUES (?, ?, ?, ?, ?) ON CONFLICT (action) DO NOTHING'),
  }

  /** Runs `work` in a transaction that is kept only where it says so. */
  function transaction(work: () => boolean): boolean {
    db.exec('BEGIN IMMEDIATE')
    try {
      const isKept = work()
      db.exec(isKept ? 'COMMIT' : 'ROLLBACK')
      return isKept
    } catch (error) {
      if (db.isTransaction) db.exec('ROLLBACK')
      throw error
    }
  }

  const scoresOf = (caseId: string): readonly Score[] => sql.scoresOf.all(caseId).map(contentOf<Score>)

  function byCase(rows: readonly Row[]): Map<string, Score[]> {
    const found = new Map<string, Score[]>()
    for (const row of rows) {
      const caseId = String(row.case_id)
      found.set(caseId, [...(found.get(caseId) ?? []), contentOf<Score>(row)])
    }
    return found
  }

  return {
    keepSummaries(summaries, to) {
      transaction(() => {
        for (const one of summaries) {
          sql.keep.run(one.caseId, one.month, one.openedAt, JSON.stringify(one))
          sql.pickFlagged.run(one.caseId)
        }
        if (to !== undefined) sql.reach.run(to)
        return true
      })
    },
    summarisedTo() {
      const row = sql.reached.get()
      return row === undefined ? undefined : instant(Number(row.changed_at))
    },
    summary(caseId) {
      const row = sql.summary.get(caseId)
      return row === undefined ? undefined : current(contentOf<CaseSummary>(row))
    },
    summaries: month =>
      (month === undefined ? sql.all.all() : sql.ofMonth.all(month)).flatMap(
        row => current(contentOf<CaseSummary>(row)) ?? [],
      ),
    months: () =>
      sql.months.all().map(
        ({ month, cases, picked, drawn }): MonthRow => ({
          ...{ month: String(month), cases: Number(cases) },
          ...(Number(drawn) === 0 ? {} : { picked: Number(picked) }),
        }),
      ),
    draw(month) {
      const row = sql.draw.get(month)
      return row === undefined ? undefined : drawOf(row)
    },
    keepDraw: ({ month, seed, from, size, at, by }, picks) =>
      transaction(() => {
        if (sql.draw.get(month) !== undefined) return false
        sql.addDraw.run(month, seed, from, size, at, by)
        for (const [place, { caseId, reasons }] of picks.entries())
          sql.addPick.run(caseId, month, place, reasons.join(' '))
        return true
      }),
    isPicked: caseId => sql.pick.get(caseId) !== undefined,
    queue(month) {
      const scored = byCase(sql.scoresIn.all(month))
      return sql.picks.all(month).map(
        ({ case_id, reasons }): QueueRow => ({
          caseId: String(case_id),
          reasons: String(reasons).split(' ') as Reason[],
          scores: scored.get(String(case_id)) ?? [],
        }),
      )
    },
    scoresOf,
    scores: month => byCase(month === undefined ? sql.scores.all() : sql.scoresIn.all(month)),
    addScore(score) {
      let why: 'own' | 'done' | 'not-drawn' | undefined
      transaction(() => {
        const { caseId, reviewer, at } = score
        why = sql.pick.get(caseId) === undefined ? 'not-drawn' : mayNotScore(scoresOf(caseId), reviewer)
        if (why === undefined) sql.addScore.run(caseId, reviewer, at, JSON.stringify(score))
        return why === undefined
      })
      return why ?? 'kept'
    },
    flag(caseId, at, by) {
      transaction(() => {
        sql.addFlag.run(caseId, at, by)
        sql.pickFlagged.run(caseId)
        return true
      })
    },
    flagged: () => new Set(sql.flags.all().map(row => String(row.case_id))),
    addAction({ caseId, says, owner, due, at, by }) {
      sql.addAction.run(caseId, says, owner, due, at, by)
    },
    actions: () => sql.actions.all().map(actionOf),
    endAction: (number, { how, says, at, by }) => sql.endAction.run(number, how, says, at, by).changes === 1,
    close() {
      if (db.isOpen) {
        db.exec('PRAGMA wal_checkpoint(TRUNCATE)')
        db.close()
      }
    },
  }
}

const contentOf = <T>(row: Row): T => JSON.parse(String(row.content)) as T

/** A summary of a later program is not read wrongly. */
const current = (one: CaseSummary): CaseSummary | undefined => (one.version <= SUMMARY_VERSION ? one : undefined)

function actionOf(row: Row): ReviewAction {
  return {
    ...{ number: Number(row.line), caseId: String(row.case_id), says: String(row.says), owner: String(row.owner) },
    ...{ due: String(row.due), at: instant(Number(row.at)), by: String(row.by) },
    ...(row.how === null
      ? {}
      : {
          end: {
            how: String(row.how) as ActionEnd['how'],
            says: String(row.end_says),
            at: instant(Number(row.end_at)),
            by: String(row.end_by),
          },
        }),
  }
}

function drawOf(row: Row): DrawMade {
  return {
    ...{ month: String(row.month), seed: String(row.seed), from: Number(row.drawn_from), size: Number(row.size) },
    ...{ at: instant(Number(row.at)), by: String(row.by) },
  }
}
