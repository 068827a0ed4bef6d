import { chmodSync } from 'node:fs'
import { DatabaseSync } from 'node:sqlite'
import { StoreUnusable } from '../store.ts'

/** How long a start waits for a process that is just ending, in milliseconds. */
const WAITS_MS = 2_000

/** Locks this process holds. One that nothing referred to would be collected as garbage, and the folder be free. */
const held = new Set<DatabaseSync>()

/**
 * Two lines on one data folder would answer one family twice and page in each other's name. Claims a data folder for this process until `release` or its end, however it ends: the operating system lets go of a lock
 * of a process that was killed. Commands that only look, erase or rotate do not take it.
 *
 * @param file  a small file of its own beside the database; it holds the number of the process that serves
 * @throws StoreUnusable when another process holds it; the message names it
 */
export function claimServing(file: string, pid: number): { release(): void } {
  const db = new DatabaseSync(file, { timeout: WAITS_MS })
  try {
    chmodSync(file, 0o600)
    db.exec(
      `BEGIN IMMEDIATE;
       CREATE TABLE IF NOT EXISTS serving (one INTEGER PRIMARY KEY CHECK (one = 1), pid INTEGER NOT NULL) STRICT;
       INSERT INTO serving VALUES (1, ${Number(pid)}) ON CONFLICT (one) DO UPDATE SET pid = excluded.pid;
       COMMIT`,
    )
    // Never committed: its lock is what stands for this process. Whoever comes meanwhile can still read the number.
    db.exec('BEGIN IMMEDIATE')
  } catch (error) {
    const other = isHeld(error) ? holder(db) : undefined
    db.close()
    if (!isHeld(error)) throw error
    throw new StoreUnusable(
      `${file}: another process${other === undefined ? '' : ` (number ${other})`} serves this data folder. ` +
        'Stop it first, or name another folder with --data',
      { cause: error },
    )
  }
  held.add(db)
  return {
    release: () => {
      held.delete(db)
      db.close()
    },
  }
}

/** SQLITE_BUSY, with its extended codes. */
const isHeld = (error: unknown): boolean =>
  error instanceof Error && 'errcode' in error && (Number(error.errcode) & 0xff) === 5

function holder(db: DatabaseSync): number | undefined {
  try {
    return Number(db.prepare('SELECT pid FROM serving').get()?.pid)
  } catch {
    return undefined
  }
}
