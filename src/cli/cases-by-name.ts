import { DatabaseSync } from 'node:sqlite'

/** Ids of cases in the order of the names they go by elsewhere; they lie on disk, so that memory does not grow with their number. */
export interface CasesByName {
  add(name: string, caseId: string): void
  readonly count: number
  /** Ids of the cases whose names come after this one, in the order of their names. */
  after(name: string): Iterable<string>
  close(): void
}

/** Pages kept in memory, in kibibytes. */
const CACHE_KIB = 4_000

/** In a file without a name, which is gone when it is closed (SQLite documentation, "Temporary Databases"). */
export function casesByName(): CasesByName {
  const db = new DatabaseSync('')
  db.exec(`PRAGMA cache_size = -${CACHE_KIB}; PRAGMA temp_store = FILE; PRAGMA journal_mode = OFF`)
  db.exec('CREATE TABLE named (name TEXT NOT NULL, case_id TEXT NOT NULL) STRICT; BEGIN')
  const add = db.prepare('INSERT INTO named VALUES (?, ?)')
  const after = db.prepare('SELECT case_id FROM named WHERE name > ? ORDER BY name')
  let count = 0
  return {
    add(name, caseId) {
      add.run(name, caseId)
      count += 1
    },
    get count() {
      return count
    },
    *after(name) {
      for (const row of after.iterate(name)) yield String(row.case_id)
    },
    close: () => db.close(),
  }
}
