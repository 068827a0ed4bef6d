import type { DatabaseSync } from 'node:sqlite'
import { passed } from '../../points/points.ts'

/** Most writes in one transaction; more would hold the event loop too long. */
const groupMost = 32
/** The write-ahead log is folded into the file after this many writes: some 6 MB at most, by one write or by 32 a group. */
const writesPerCheckpoint = 128

/** `natural`: what was queued while the last transaction ran goes together; `none`: each write by itself and at once. */
export type Grouping = 'natural' | 'none'

/** Writes queued by many callers and made durable together. */
export interface GroupWriter {
  /**
   * Queues a write. It runs alone inside its own savepoint; its caller is answered only after the COMMIT of the
   * group. A write that throws is undone alone and rejects its caller alone; a COMMIT that fails rejects all.
   */
  write<T>(work: () => T): Promise<T>
  /** Runs `notify` after the group of the write that asked for it is durable; once a group. */
  afterCommit(): void
  queued(): number
  /** Writes everything queued, then refuses further writes. */
  finish(): void
}

interface Queued {
  readonly work: () => unknown
  readonly answer: (value: unknown) => void
  readonly reject: (reason: unknown) => void
}

type Outcome = { readonly done: true; readonly value: unknown } | { readonly done: false; readonly reason: unknown }

/**
 * Natural group commit on the main thread: whatever was queued while the last transaction ran goes into the next, at
 * most 32 writes. The flush is armed with setImmediate, so that sockets and timers get their turn between groups.
 *
 * @param grouping  `none` only to measure what grouping wins
 */
export function groupWriter(db: DatabaseSync, notify: () => void, grouping: Grouping = 'natural'): GroupWriter {
  const queue: Queued[] = []
  let armed = false
  let finished = false
  let wantsNotice = false
  let writesSinceCheckpoint = 0

  const sql = {
    begin: db.prepare('BEGIN IMMEDIATE'),
    commit: db.prepare('COMMIT'),
    savepoint: db.prepare('SAVEPOINT step'),
    release: db.prepare('RELEASE step'),
    undo: db.prepare('ROLLBACK TO step'),
    checkpoint: db.prepare('PRAGMA wal_checkpoint(PASSIVE)'),
  }

  function arm(): void {
    if (armed || queue.length === 0) return
    if (grouping === 'none') {
      flush()
      return
    }
    armed = true
    setImmediate(() => {
      armed = false
      if (queue.length === 0) return
      flush()
      arm()
    })
  }

  /** Writes one group. Never throws: every caller of the group is answered or rejected. */
  function flush(): void {
    const group = queue.splice(0, groupMost)
    wantsNotice = false
    let outcomes: Outcome[]
    try {
      outcomes = commitTogether(group)
    } catch (error) {
      abandon()
      for (const one of group) one.reject(error)
      return
    }
    passed('store.before-answer')
    group.forEach((one, index) => {
      const outcome = outcomes[index]
      if (outcome?.done) one.answer(outcome.value)
      else one.reject(outcome?.reason)
    })
    if (wantsNotice) notify()
    checkpointNowAndThen(group.length)
  }

  function commitTogether(group: readonly Queued[]): Outcome[] {
    sql.begin.run()
    passed('store.begun')
    const outcomes = group.length === 1 ? group.map(alone) : group.map(attempt)
    passed('store.before-commit')
    sql.commit.run()
    passed('store.after-commit')
    return outcomes
  }

  /** The only write of its transaction: one that throws is undone with it. A savepoint would copy every page it changes. */
  function alone(one: Queued): Outcome {
    const value = one.work()
    passed('store.step-written')
    return { done: true, value }
  }

  function attempt(one: Queued): Outcome {
    sql.savepoint.run()
    let value: unknown
    try {
      value = one.work()
      sql.release.run()
    } catch (reason) {
      // A full disk or a failing one ends the whole transaction by itself: then the whole group has failed.
      if (!db.isTransaction) throw reason
      sql.undo.run()
      sql.release.run()
      return { done: false, reason }
    }
    passed('store.step-written')
    return { done: true, value }
  }

  /**
   * Leaves no transaction open, so that no read ever sees what was not committed. Should even the rollback fail, the
   * file is closed (which undoes it): every later call then rejects until the program is started again.
   */
  function abandon(): void {
    try {
      if (db.isTransaction) db.exec('ROLLBACK')
    } catch {
      finished = true
      db.close()
    }
  }

  /**
   * In a turn of its own: with a group before it in the same turn, sockets and timers would wait for both. One that cannot
   * run now (the disk is full) is tried again so many writes later; no promise depends on it.
   */
  function checkpointNowAndThen(written: number): void {
    writesSinceCheckpoint += written
    if (writesSinceCheckpoint < writesPerCheckpoint) return
    writesSinceCheckpoint = 0
    if (grouping === 'none' || finished) {
      checkpoint()
      return
    }
    armed = true
    setImmediate(() => {
      armed = false
      checkpoint()
      arm()
    })
  }

  function checkpoint(): void {
    if (!db.isOpen) return
    try {
      sql.checkpoint.get()
    } catch {
      return
    }
  }

  return {
    write<T>(work: () => T): Promise<T> {
      if (finished) return Promise.reject(new Error('the store is closed: open it again before writing'))
      return new Promise<T>((answer, reject) => {
        queue.push({ work, answer: value => answer(value as T), reject })
        arm()
      })
    },
    afterCommit: () => {
      wantsNotice = true
    },
    queued: () => queue.length,
    finish: () => {
      finished = true
      while (queue.length > 0) flush()
    },
  }
}
