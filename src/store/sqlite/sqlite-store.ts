import type { Instant } from '../../time/instant.ts'
import type { CaseHead, Content, SealableStore, StepRecord } from '../store.ts'
import { alarmRows } from './alarm-rows.ts'
import { caseRows } from './case-rows.ts'
import { openDatabase } from './database.ts'
import { deliveryRows } from './delivery-rows.ts'
import { type Grouping, groupWriter } from './group-commit.ts'
import { outboxRows } from './outbox-rows.ts'

export interface SqliteStoreOptions {
  /** Path of the database; it and its folder are made when missing. Two log files appear beside it while it is open. */
  readonly file: string
  /** How long a write waits for another process that holds the file, at most. Default 2,000. */
  readonly busyTimeoutMs?: number
  /** `none`: every write in a transaction of its own, begun and ended while its caller waits; only to measure by. Default `natural`. */
  readonly grouping?: Grouping
}

/** The store over one SQLite file, with what the port leaves optional. It keeps text or bytes, and gives back what it was given. */
export type SqliteStore<C extends Content = string> = SealableStore<C>

/** Why a row of an erased case was not sent. */
const ERASED = 'case-erased'
/** Cases that are read together where all are gone through. */
const HEADS_A_PAGE = 500

/**
 * Opens the embedded store. What `commit` acknowledged survives the death of the process and, where the disk honours a
 * sync, of the machine.
 *
 * Every write goes through one queue and is answered after the COMMIT of its group; reads run between groups, so they
 * see only what is committed.
 *
 * @throws StoreUnusable when the file is another program's, of a newer schema, or cannot be made durable
 */
export function openSqliteStore<C extends Content = string>(options: SqliteStoreOptions): SqliteStore<C> {
  const db = openDatabase(options.file, options.busyTimeoutMs ?? 2_000)
  const cases = caseRows(db)
  const deliveries = deliveryRows(db)
  const outbox = outboxRows(db)
  const alarms = alarmRows(db)
  const listeners = new Set<() => void>()
  const writer = groupWriter(db, notify, options.grouping)
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

  function written(step: StepRecord<Content>): 'committed' | 'duplicate' | 'conflict' {
    const { delivery, caseId } = step
    if (delivery !== undefined && !deliveries.add(delivery)) return 'duplicate'
    const opened = cases.advance(step)
    if (opened === undefined) {
      if (delivery !== undefined) deliveries.remove(delivery)
      return 'conflict'
    }
    cases.record(opened, step, outbox.add(opened, step.from + 1, step.outbox))
    alarms.change(caseId, step.alarms)
    writer.afterCommit()
    return 'committed'
  }

  function forget(caseId: string, mark: Content, at: Instant): void {
    alarms.forget(caseId)
    const opened = cases.forget(caseId, mark)
    if (opened !== undefined) outbox.forget(opened, mark, at, ERASED)
  }

  async function* heads(): AsyncGenerator<CaseHead> {
    let page: readonly CaseHead[]
    let last = ''
    do {
      page = await read(() => cases.headsAfter(last, HEADS_A_PAGE))
      yield* page
      last = page.at(-1)?.caseId ?? last
    } while (page.length === HEADS_A_PAGE)
  }

  const store: SqliteStore<Content> = {
    load: caseId => read(() => cases.load(caseId)),
    casesOf: chat => read(() => cases.ofChat(chat)),
    recent: since => read(() => cases.recent(since)),
    recentHeads: since => read(() => cases.recentHeads(since)),
    heads,
    history: caseId => read(() => cases.history(caseId)),
    event: (caseId, seq) => read(() => cases.event(caseId, seq)),
    closedBefore: (olderThan, mark) => read(() => cases.closedBefore(olderThan, mark)),
    outboxOf: caseId => read(() => outbox.ofCase(caseId)),
    due: (at, limit) => read(() => alarms.due(at, limit)),
    nextDue: () => read(() => alarms.next()),
    alarmOf: (caseId, name) => read(() => alarms.of(caseId, name)),

    commit: step => writer.write(() => written(step)),
    // Nothing to claim takes no transaction: each step has both lanes look.
    claim: async (lane, at, leaseMs, limit) =>
      (await read(() => outbox.hasClaimable(lane, at)))
        ? writer.write(() => outbox.claim(lane, at, leaseMs, limit))
        : [],
    rendered: (effectId, content, at) => writer.write(() => outbox.rendered(effectId, content, at)),
    settle: (effectId, outcome, tries) =>
      writer.write(() => {
        outbox.settle(effectId, outcome, tries)
        writer.afterCommit()
      }),

    releaseLeases: () => writer.write(() => outbox.release()),
    forget: (caseId, mark, at) => writer.write(() => forget(caseId, mark, at)),

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
  // What comes out is what went in: rows of one store are written with one kind of content.
  return store as SqliteStore<C>
}
