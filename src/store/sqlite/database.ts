import { chmodSync, mkdirSync, readdirSync, readFileSync } from 'node:fs'
import { dirname, resolve } from 'node:path'
import { DatabaseSync, type SQLOutputValue } from 'node:sqlite'
import { fileURLToPath } from 'node:url'
import { SEALED } from '../seal.ts'
import { StoreUnusable } from '../store.ts'

/** The schema this program writes: the number of its last migration. */
export const schemaVersion = 2

/** What a file holds. */
export interface DatabaseKind {
  /** Stamped into the file's header, so that another database is never taken for this one. */
  readonly applicationId: number
  readonly schemaVersion: number
  /** Folder of its migrations, beside this file. */
  readonly migrations: string
}

/** How a sealed text of schema 1 starts. */
const SEALED_TEXT = 'sealed1:'

/** Cases, events, outbox, alarms ("smlh"). */
const caseDatabase: DatabaseKind = { applicationId: 0x736d6c68, schemaVersion, migrations: './migrations/' }

/**
 * Opens (or makes) the one file everything lives in, so set that a commit that returned survives a power cut: write-ahead
 * log with a full sync at every commit, provided that the disk honours the sync (SQLite documentation, "PRAGMA
 * synchronous" and "Write-Ahead Logging"). Deleted content is overwritten with zeros. The file is readable by its owner only.
 *
 * @param busyTimeoutMs how long a write waits for another process that holds the file (a backup), at most
 * @param how `unchecked`: damage is found where it is read, and not looked for first
 * @throws StoreUnusable when the file is not a database of this program, is of a newer schema, or cannot be made durable
 */
export function openDatabase(
  file: string,
  busyTimeoutMs: number,
  kind: DatabaseKind = caseDatabase,
  how: 'checked' | 'unchecked' = 'checked',
): DatabaseSync {
  if (file === '' || file.startsWith(':') || file.startsWith('file:')) {
    throw new StoreUnusable(
      `store file "${file}": expected the path of a file on disk; anything else forgets at a restart`,
    )
  }
  const path = resolve(file)
  const db = opened(path, busyTimeoutMs)
  try {
    setUp(db, path, kind)
    if (how === 'checked') refuseDamaged(db, path)
    migrate(db, path, kind)
  } catch (error) {
    db.close()
    throw asUnusable(error, path)
  }
  return db
}

function opened(path: string, busyTimeoutMs: number): DatabaseSync {
  try {
    mkdirSync(dirname(path), { recursive: true, mode: 0o700 })
    const db = new DatabaseSync(path, { timeout: busyTimeoutMs, enableForeignKeyConstraints: true })
    // Before the first page is written: the log files made beside it take over the same permissions.
    chmodSync(path, 0o600)
    return db
  } catch (error) {
    throw asUnusable(error, path)
  }
}

function setUp(db: DatabaseSync, path: string, { applicationId }: DatabaseKind): void {
  const id = pragma(db, 'application_id')
  const tables = db.prepare('SELECT count(*) AS n FROM sqlite_schema').get()?.n
  if (id !== applicationId && (id !== 0 || tables !== 0)) {
    throw new StoreUnusable(`store file ${path}: this is a database of another program; name a new file`)
  }
  const mode = pragma(db, 'journal_mode = WAL')
  if (mode !== 'wal') {
    throw new StoreUnusable(
      `store file ${path}: expected journal mode "wal", the disk allows "${mode}"; use a local disk`,
    )
  }
  db.exec('PRAGMA synchronous = FULL; PRAGMA fullfsync = ON; PRAGMA checkpoint_fullfsync = ON')
  db.exec('PRAGMA secure_delete = ON; PRAGMA trusted_schema = OFF; PRAGMA wal_autocheckpoint = 0')
  // Pages kept in memory, at most 16 MB: what the open cases of a busy night touch.
  db.exec('PRAGMA temp_store = MEMORY; PRAGMA cache_size = -16000')
}

/** Every page is looked at, indices are not: some tenths of a second for a hundred megabytes. */
function refuseDamaged(db: DatabaseSync, path: string): void {
  const found = pragma(db, 'quick_check(1)')
  if (found !== 'ok')
    throw new StoreUnusable(`store file ${path} is damaged: ${String(found).replace(/\s+/g, ' ')}. ${RESTORE}`)
}

/** Runs the migrations the file has not seen, each in a transaction of its own that also writes its number. */
function migrate(db: DatabaseSync, path: string, kind: DatabaseKind): void {
  const { applicationId, schemaVersion } = kind
  db.function('stored_content', { deterministic: true }, storedContent)
  for (const { version, name, sql } of migrationsOf(kind)) {
    db.exec('BEGIN IMMEDIATE')
    try {
      const found = pragma(db, 'user_version')
      if (typeof found !== 'number' || found > schemaVersion) {
        throw new StoreUnusable(
          `store file ${path}: schema ${found} is newer than schema ${schemaVersion} of this program; ` +
            'start the newer program, or restore a backup made before the upgrade',
        )
      }
      if (found < version) {
        db.exec(sql)
        db.exec(`PRAGMA user_version = ${version}; PRAGMA application_id = ${applicationId}`)
      }
      db.exec('COMMIT')
    } catch (error) {
      if (db.isTransaction) db.exec('ROLLBACK')
      if (error instanceof StoreUnusable) throw error
      throw new StoreUnusable(`store file ${path}: migration ${name} failed: ${wordsOf(error)}`, { cause: error })
    }
  }
}

/** A content of schema 1 as it is kept since: a text sealed in base64 becomes its bytes, any other stays. */
function storedContent(content: SQLOutputValue): SQLOutputValue {
  if (typeof content !== 'string' || !content.startsWith(SEALED_TEXT)) return content
  return Buffer.concat([SEALED, Buffer.from(content.slice(SEALED_TEXT.length), 'base64')])
}

interface Migration {
  readonly version: number
  readonly name: string
  readonly sql: string
}

/** The files NNNN-*.sql in order; numbers must run 1, 2, 3 … up to `schemaVersion`. */
function migrationsOf({ migrations, schemaVersion }: DatabaseKind): readonly Migration[] {
  const folder = fileURLToPath(new URL(migrations, import.meta.url))
  const names = readdirSync(folder)
    .filter(name => /^\d{4}-.*\.sql$/.test(name))
    .sort()
  const found = names.map(name => ({
    version: Number(name.slice(0, 4)),
    name,
    sql: readFileSync(resolve(folder, name), 'utf8'),
  }))
  if (found.length !== schemaVersion || found.some((one, index) => one.version !== index + 1)) {
    throw new StoreUnusable(
      `migrations: expected 0001 to ${String(schemaVersion).padStart(4, '0')}, found ${names.join(', ')}`,
    )
  }
  return found
}

/** The single value a PRAGMA answers with. */
function pragma(db: DatabaseSync, text: string): unknown {
  const row = db.prepare(`PRAGMA ${text}`).get()
  return row === undefined ? undefined : Object.values(row)[0]
}

function asUnusable(error: unknown, path: string): StoreUnusable {
  if (error instanceof StoreUnusable) return error
  const what = `store file ${path} cannot be opened: ${wordsOf(error)}`
  const todo = toDo(error)
  return new StoreUnusable(todo === undefined ? what : `${what}. ${todo}`, { cause: error })
}

function toDo(error: unknown): string | undefined {
  if (!(error instanceof Error)) return undefined
  if ('errcode' in error) return TO_DO[Number(error.errcode) & 0xff]
  const isForbidden = 'code' in error && ['EACCES', 'EPERM', 'EROFS'].includes(String(error.code))
  return isForbidden ? TO_DO[8] : undefined
}

const wordsOf = (error: unknown): string => (error instanceof Error ? error.message : String(error))

const RESTORE = 'Keep it as it is, and restore the newest backup of this folder: docs/operating/keys-and-erasure.md'

/** What to do, by SQLite's primary result codes (its documentation, "Result and Error Codes"). */
const TO_DO: Readonly<Record<number, string>> = {
  5: 'Another process holds it: stop that one, or wait until its backup has ended',
  8: 'The file, its folder or the disk is read-only: give this user the right to write there',
  10: 'The disk does not read or write: look at it before anything else, and copy this folder to another',
  11: RESTORE,
  13: 'The disk is full: make room, then start again. Nothing that was answered is lost',
  14: 'Look whether the folder is there, and whether this user may write in it',
  26: RESTORE,
}
