import { createSecretKey, type KeyObject } from 'node:crypto'
import type { SQLOutputValue } from 'node:sqlite'
import { type CaseKeys, type ClinicKeys, newKey, openBytes, SealBroken, sealBytes } from '../seal.ts'
import { type DatabaseKind, openDatabase } from './database.ts'
import { groupWriter } from './group-commit.ts'

/** Unwrapped keys kept in memory, at most: the open cases of any clinic, at 32 bytes each. */
const CACHED_MOST = 10_000

/** "smlk". */
const keyDatabase: DatabaseKind = { applicationId: 0x736d6c6b, schemaVersion: 1, migrations: './key-migrations/' }

export interface CaseKeysOptions {
  /** Path of the file of wrapped keys: its own, so that it can be left out of old backups. */
  readonly file: string
  /** Reads the clinic's keys as they are now. Called for every new key and every key not yet in memory. */
  readonly clinicKeys: () => ClinicKeys
  /** How long a write waits for another process that holds the file, at most. Default 2,000. */
  readonly busyTimeoutMs?: number
  /** Another process's change is looked for at most this often, in milliseconds: a look costs as much as a seal. Default 20. */
  readonly lookEveryMs?: number
}

/** The file of wrapped keys, with what only its keeper needs. */
export interface CaseKeyFile extends CaseKeys {
  /** How many keys each of the clinic's keys wraps, by id. */
  inUse(): ReadonlyMap<string, number>
  /** How many cases have a key, or had one. */
  count(): number
  /** Wraps every key again that the clinic's newest did not wrap, all or none; how many. */
  rewrap(): Promise<number>
  /** Runs `work` while no process can wrap a key: what `inUse` says holds until it returns. */
  whileNoneIsMade<T>(work: () => T): Promise<T>
}

/**
 * Opens (or makes) the file of wrapped keys. Destroyed keys are overwritten with zeros and the log that held them is cut
 * to nothing. Another process may rotate or erase while this one runs: it is noticed within 20 ms. Until then a step may still
 * be sealed with a key that is gone; it then conflicts, or is overwritten with the rest of its case.
 *
 * @throws StoreUnusable as the store's own file does
 */
export function openCaseKeys(options: CaseKeysOptions): CaseKeyFile {
  const db = openDatabase(options.file, options.busyTimeoutMs ?? 2_000, keyDatabase)
  const writer = groupWriter(db, () => undefined)
  const sql = {
    version: db.prepare('PRAGMA data_version'),
    find: db.prepare('SELECT clinic_key, wrapped FROM case_key WHERE case_id = ?'),
    add: db.prepare('INSERT INTO case_key (case_id, clinic_key, wrapped) VALUES (?, ?, ?)'),
    erase: db.prepare(
      `INSERT INTO case_key (case_id, erased_at) VALUES (?, ?)
       ON CONFLICT (case_id) DO UPDATE SET clinic_key = NULL, wrapped = NULL, erased_at = excluded.erased_at
       WHERE erased_at IS NULL`,
    ),
    inUse: db.prepare(
      'SELECT clinic_key, count(*) AS n FROM case_key WHERE clinic_key IS NOT NULL GROUP BY clinic_key',
    ),
    count: db.prepare('SELECT count(*) AS n FROM case_key'),
    others: db.prepare('SELECT case_id, clinic_key, wrapped FROM case_key WHERE clinic_key <> ?'),
    rewrap: db.prepare('UPDATE case_key SET clinic_key = ?, wrapped = ? WHERE case_id = ?'),
    cut: db.prepare('PRAGMA wal_checkpoint(TRUNCATE)'),
  }
  const cache = new Map<string, KeyObject>()
  let version = sql.version.get()?.data_version
  const lookEveryMs = options.lookEveryMs ?? 20
  let lookedAtMs = performance.now()
  let closed = false
  sql.cut.get()

  function lookForChanges(): void {
    const nowMs = performance.now()
    if (nowMs - lookedAtMs < lookEveryMs) return
    lookedAtMs = nowMs
    const now = sql.version.get()?.data_version
    if (now === version) return
    cache.clear()
    version = now
  }

  /** The key in memory; none after another process has changed the file. */
  function cached(caseId: string): KeyObject | undefined {
    lookForChanges()
    const key = cache.get(caseId)
    if (key === undefined) return undefined
    // The one used last stays longest.
    cache.delete(caseId)
    cache.set(caseId, key)
    return key
  }

  function remember(caseId: string, bytes: Uint8Array): KeyObject {
    const key = createSecretKey(bytes)
    if (cache.size >= CACHED_MOST) {
      for (const oldest of cache.keys()) {
        cache.delete(oldest)
        break
      }
    }
    cache.set(caseId, key)
    return key
  }

  function unwrapped(caseId: string, { clinic_key: id, wrapped }: Record<string, SQLOutputValue>, keys: ClinicKeys) {
    if (!(wrapped instanceof Uint8Array)) return 'erased'
    const clinicKey = keys.of(String(id))
    if (clinicKey === undefined) {
      throw new SealBroken(
        `case keys: a case is locked with the clinic's key ${id}, which is not in the file of the clinic's keys: put it back`,
      )
    }
    return openBytes(clinicKey.key, boundOf(clinicKey.id, caseId), wrapped)
  }

  function wrap(caseId: string, key: Uint8Array, { newest }: ClinicKeys): readonly [id: string, wrapped: Buffer] {
    return [newest.id, sealBytes(newest.key, boundOf(newest.id, caseId), key)]
  }

  function find(caseId: string): KeyObject | 'erased' | undefined {
    if (closed) throw new Error('the case keys are closed: open them again')
    const known = cached(caseId)
    if (known !== undefined) return known
    const row = sql.find.get(caseId)
    if (row === undefined) return undefined
    if (row.wrapped === null) return 'erased'
    const key = unwrapped(caseId, row, options.clinicKeys())
    return key === 'erased' ? key : remember(caseId, key)
  }

  /** Inside the transaction, so that no other process takes the clinic's newest key away in between. */
  function found(caseId: string): Uint8Array | 'erased' {
    const row = sql.find.get(caseId)
    const keys = options.clinicKeys()
    if (row !== undefined) return unwrapped(caseId, row, keys)
    const key = newKey()
    sql.add.run(caseId, ...wrap(caseId, key, keys))
    return key
  }

  function rewrapAll(): number {
    const keys = options.clinicKeys()
    const rows = sql.others.all(keys.newest.id)
    for (const row of rows) {
      const caseId = String(row.case_id)
      const key = unwrapped(caseId, row, keys)
      if (key !== 'erased') sql.rewrap.run(...wrap(caseId, key, keys), caseId)
    }
    return rows.length
  }

  const inUse = () => new Map(sql.inUse.all().map(row => [String(row.clinic_key), Number(row.n)]))

  return {
    find,
    async make(caseId) {
      const known = find(caseId)
      if (known !== undefined) return known
      const key = await writer.write(() => found(caseId))
      return key === 'erased' ? key : remember(caseId, key)
    },
    async erase(caseId, at) {
      await writer.write(() => sql.erase.run(caseId, at))
      cache.delete(caseId)
      sql.cut.get()
    },
    inUse,
    count: () => Number(sql.count.get()?.n),
    async rewrap() {
      const count = await writer.write(rewrapAll)
      sql.cut.get()
      return count
    },
    whileNoneIsMade: work => writer.write(work),
    async close() {
      if (closed) return
      closed = true
      writer.finish()
      cache.clear()
      if (!db.isOpen) return
      try {
        sql.cut.get()
      } finally {
        db.close()
      }
    },
  }
}

const boundOf = (clinicKey: string, caseId: string) => ['case-key', clinicKey, caseId] as const
