import type { Store } from '../store.ts'
import { alarmRows } from './alarm-rows.ts'
import { caseRows } from './case-rows.ts'
import { openDatabase } from './database.ts'
import { groupWriter } from './group-commit.ts'
import { outboxRows } from './outbox-rows.ts'

export interface SqliteStoreOptions {
  /** Path of the database; it and its folder are made when missing. Two log files appear beside it while it is open. */
  readonly file: string
  /** How long a write waits for another process that holds the file, at most. Default 2,000. */
  readonly busyTimeoutMs?: number
}

/** The store over one SQLite file, with what the port leaves optional. */
export type SqliteStore = Required<Store>

/**
 * Opens the embedded store. What `commit` acknowledged survives the death of the process and, where the disk honours a
 * sync, of the machine.
 *
 * Every write goes through one queue and is answered after the COMMIT of its group; reads run between groups, so they
 * see only what is committed.
 *
 * @throws StoreUnusable when the file is another program's, of a newer schema, or cannot be made durable
 */
export function openSqliteStore(options: SqliteStoreOptions): SqliteStore {
  const db = openDatabase(options.file, options.busyTimeoutMs ?? 2_000)
  const cases = caseRows(db)
  const outbox = outboxRows(db)
  const alarms = alarmRows(db)
  const listeners = new Set<() => void>()
  const writer = groupWriter(db, notify)
  let closed = false

  /** Apart from the group that called it: a listener that throws must not stop the writer. */
  function notify(): void {
    for (const listener of listeners) queueMicrotask(listener)
  }

  /** An async function, so that an error of the database is a rejection like any other. */
  async function read<T>(work: () => T): Promise<T> {
    if (closed) throw new Error('the store is closed: open it again before reading')
    return work()
  }

  return {
    load: caseId => read(() => cases.load(caseId)),
    casesOf: chat => read(() => cases.ofChat(chat)),
    recent: since => read(() => cases.recent(since)),
    history: caseId => read(() => cases.history(caseId)),
    outboxOf: caseId => read(() => outbox.ofCase(caseId)),
    due: (at, limit) => read(() => alarms.due(at, limit)),
    nextDue: () => read(() => alarms.next()),

    commit: step =>
      writer.write(() => {
        if (step.delivery !== undefined && cases.wasDelivered(step.delivery)) return 'duplicate'
        if (!cases.advance(step)) return 'conflict'
        for (const row of step.outbox) outbox.add(step.caseId, step.from + 1, row)
        alarms.change(step.caseId, step.alarms)
        writer.afterCommit()
        return 'committed'
      }),
    claim: (lane, at, leaseMs, limit) => writer.write(() => outbox.claim(lane, at, leaseMs, limit)),
    rendered: (effectId, content, at) => writer.write(() => outbox.rendered(effectId, content, at)),
    settle: (effectId, outcome, tries) =>
      writer.write(() => {
        outbox.settle(effectId, outcome, tries)
        writer.afterCommit()
      }),

    onCommitted: listener => {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
    probe: () =>
      writer.write(() => {
        // Setting it to what it is writes the file's first page all the same.
        const { user_version } = db.prepare('PRAGMA user_version').get() as { user_version: number }
        db.exec(`PRAGMA user_version = ${Number(user_version)}`)
      }),
    queued: () => writer.queued(),
    close: async () => {
      if (closed) return
      closed = true
      writer.finish()
      listeners.clear()
      if (!db.isOpen) return
      try {
        db.exec('PRAGMA wal_checkpoint(TRUNCATE)')
      } finally {
        db.close()
      }
    },
  }
}
