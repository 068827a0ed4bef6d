import type { Instant } from '../../time/instant.ts'
import { type DatabaseKind, openDatabase } from './database.ts'

/** "smlt". */
const telegramDatabase: DatabaseKind = {
  applicationId: 0x736d6c74,
  schemaVersion: 1,
  migrations: './telegram-migrations/',
}

/** How long a write waits for another process: the bot serves while somebody makes a code at the command line. */
const BUSY_TIMEOUT_MS = 2_000

export interface TelegramFile {
  /** Keeps a code for one person; codes of theirs that were not used end. */
  keepCode(codeHash: string, personId: string, at: Instant, until: Instant): void
  /**
   * Links the chat to the code's person and uses the code up: of two at once only one succeeds. Undefined where the code
   * was used, is over, or is none.
   */
  redeem(codeHash: string, chat: string, at: Instant): string | undefined
  personOf(chat: string): string | undefined
  chatsOf(personId: string): readonly string[]
  links(): readonly { readonly personId: string; readonly linkedAt: number }[]
  /** How many accounts were linked before. */
  unlink(personId: string): number
  status(caseId: string): { readonly chat: string; readonly messageId: number } | undefined
  keepStatus(caseId: string, place: { readonly chat: string; readonly messageId: number }, at: Instant): void
  forgetStatus(caseId: string): void
  statusCases(): readonly string[]
  park(updateId: number, sealed: Uint8Array, at: Instant): void
  /** Removes what was laid aside before `at`. */
  forgetParked(at: Instant): void
  known(name: string): string | undefined
  know(name: string, value: string): void
  close(): void
}

/**
 * Opens (or makes) the file of linked accounts and live messages. Losing it loses no message and no page's text: people link
 * again, and each case gets a new live message.
 *
 * @throws StoreUnusable as the store's own file does
 */
export function openTelegramFile(file: string): TelegramFile {
  const db = openDatabase(file, BUSY_TIMEOUT_MS, telegramDatabase)
  const sql = {
    endCodes: db.prepare('DELETE FROM code WHERE person_id = ? AND used_at IS NULL'),
    keepCode: db.prepare('INSERT INTO code VALUES (?, ?, ?, ?, NULL)'),
    use: db.prepare(
      'UPDATE code SET used_at = ? WHERE code_hash = ? AND used_at IS NULL AND until > ? RETURNING person_id',
    ),
    link: db.prepare(
      'INSERT INTO link VALUES (?, ?, ?) ON CONFLICT (chat) DO UPDATE SET person_id = excluded.person_id, linked_at = excluded.linked_at',
    ),
    personOf: db.prepare('SELECT person_id FROM link WHERE chat = ?'),
    chatsOf: db.prepare('SELECT chat FROM link WHERE person_id = ? ORDER BY linked_at, chat'),
    links: db.prepare('SELECT person_id, linked_at FROM link ORDER BY person_id, linked_at'),
    unlink: db.prepare('DELETE FROM link WHERE person_id = ?'),
    status: db.prepare('SELECT chat, message_id FROM status WHERE case_id = ?'),
    keepStatus: db.prepare('INSERT OR REPLACE INTO status VALUES (?, ?, ?, ?)'),
    forgetStatus: db.prepare('DELETE FROM status WHERE case_id = ?'),
    statusCases: db.prepare('SELECT case_id FROM status ORDER BY kept_at'),
    park: db.prepare('INSERT OR IGNORE INTO parked VALUES (?, ?, ?)'),
    forgetParked: db.prepare('DELETE FROM parked WHERE parked_at < ?'),
    known: db.prepare('SELECT value FROM known WHERE name = ?'),
    know: db.prepare('INSERT OR REPLACE INTO known VALUES (?, ?)'),
  }

  function transaction<T>(work: () => T): T {
    db.exec('BEGIN IMMEDIATE')
    try {
      const result = work()
      db.exec('COMMIT')
      return result
    } catch (error) {
      if (db.isTransaction) db.exec('ROLLBACK')
      throw error
    }
  }

  return {
    keepCode: (codeHash, personId, at, until) =>
      transaction(() => {
        sql.endCodes.run(personId)
        sql.keepCode.run(codeHash, personId, at, until)
      }),
    redeem: (codeHash, chat, at) =>
      transaction(() => {
        const personId = sql.use.get(at, codeHash, at)?.person_id
        if (personId === undefined) return undefined
        sql.link.run(chat, personId, at)
        return String(personId)
      }),
    personOf: chat => textOf(sql.personOf.get(chat)?.person_id),
    chatsOf: personId => sql.chatsOf.all(personId).map(row => String(row.chat)),
    links: () => sql.links.all().map(row => ({ personId: String(row.person_id), linkedAt: Number(row.linked_at) })),
    unlink: personId =>
      transaction(() => {
        sql.endCodes.run(personId)
        return Number(sql.unlink.run(personId).changes)
      }),
    status(caseId) {
      const row = sql.status.get(caseId)
      return row === undefined ? undefined : { chat: String(row.chat), messageId: Number(row.message_id) }
    },
    keepStatus: (caseId, { chat, messageId }, at) => void sql.keepStatus.run(caseId, chat, messageId, at),
    forgetStatus: caseId => void sql.forgetStatus.run(caseId),
    statusCases: () => sql.statusCases.all().map(row => String(row.case_id)),
    park: (updateId, sealed, at) => void sql.park.run(updateId, at, sealed),
    forgetParked: at => void sql.forgetParked.run(at),
    known: name => textOf(sql.known.get(name)?.value),
    know: (name, value) => void sql.know.run(name, value),
    close: () => db.close(),
  }
}

const textOf = (value: unknown): string | undefined => (value === undefined ? undefined : String(value))
