import type { SQLOutputValue } from 'node:sqlite'
import type { Account, AccountStore, Attempts, Invitation, Passkey, Session } from '../../accounts/account-store.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { accountChanges } from './account-changes.ts'
import { auditRows } from './audit-rows.ts'
import { type DatabaseKind, openDatabase } from './database.ts'

/** "smla". */
const accountDatabase: DatabaseKind = {
  applicationId: 0x736d6c61,
  schemaVersion: 1,
  migrations: './account-migrations/',
}
/** How long a write waits for another process: the bot serves while somebody invites at the command line. */
const BUSY_TIMEOUT_MS = 2_000

type Row = Record<string, SQLOutputValue>

/**
 * Opens (or makes) the file of accounts, sessions and the audit trail. Every write is one synced transaction of its own: few
 * are made, and none of them on the way of a family's message.
 *
 * @throws StoreUnusable as the store's own file does
 */
export function openAccountFile(file: string): AccountStore {
  const db = openDatabase(file, BUSY_TIMEOUT_MS, accountDatabase)
  const audit = auditRows(db)
  const make = accountChanges(db)
  const sql = {
    password: db.prepare('SELECT phc FROM password WHERE person_id = ?'),
    passkeys: db.prepare('SELECT * FROM passkey WHERE person_id = ? ORDER BY added_at, credential_id'),
    identities: db.prepare('SELECT issuer, subject FROM identity WHERE person_id = ? ORDER BY issuer, subject'),
    people: db.prepare(
      'SELECT person_id FROM password UNION SELECT person_id FROM passkey UNION SELECT person_id FROM identity ORDER BY person_id',
    ),
    passkey: db.prepare('SELECT * FROM passkey WHERE credential_id = ?'),
    identity: db.prepare('SELECT person_id FROM identity WHERE issuer = ? AND subject = ?'),
    invitation: db.prepare(
      'SELECT * FROM invitation WHERE token_hash = ? AND used_at IS NULL AND withdrawn_at IS NULL AND until > ?',
    ),
    invitations: db.prepare(
      'SELECT * FROM invitation WHERE used_at IS NULL AND withdrawn_at IS NULL AND until > ? ORDER BY made_at, person_id',
    ),
    session: db.prepare('SELECT * FROM session WHERE token_hash = ?'),
    sessions: db.prepare('SELECT * FROM session ORDER BY started_at, id'),
    touch: db.prepare('UPDATE session SET seen_at = max(seen_at, ?) WHERE id = ?'),
    forgetSessions: db.prepare('DELETE FROM session WHERE ends_at <= ? OR seen_at <= ?'),
    attempts: db.prepare('SELECT failures, last_at FROM attempt WHERE key = ?'),
    fail: db.prepare(
      'INSERT INTO attempt VALUES (?, 1, ?) ON CONFLICT (key) DO UPDATE SET failures = failures + 1, last_at = excluded.last_at',
    ),
    forget: db.prepare('DELETE FROM attempt WHERE key = ?'),
    forgetBefore: db.prepare('DELETE FROM attempt WHERE last_at <= ?'),
    roles: db.prepare('SELECT person_id, roles FROM role_noted'),
    lastSignIns: db.prepare("SELECT who, max(at) AS at FROM audit WHERE did = 'signed-in' GROUP BY who"),
    noteRoles: db.prepare(
      'INSERT INTO role_noted VALUES (?, ?) ON CONFLICT (person_id) DO UPDATE SET roles = excluded.roles',
    ),
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

  function accountOf(personId: string): Account {
    const password = sql.password.get(personId)?.phc
    return {
      personId,
      ...(password === undefined ? {} : { password: String(password) }),
      passkeys: sql.passkeys.all(personId).map(passkeyOf),
      identities: sql.identities
        .all(personId)
        .map(row => ({ issuer: String(row.issuer), subject: String(row.subject) })),
    }
  }

  function attemptsOf(key: string): Attempts | undefined {
    const row = sql.attempts.get(key)
    return row === undefined ? undefined : { failures: Number(row.failures), lastAt: instant(Number(row.last_at)) }
  }

  return {
    account: async personId => accountOf(personId),
    accounts: async () => sql.people.all().map(row => accountOf(String(row.person_id))),
    async passkey(credentialId) {
      const row = sql.passkey.get(credentialId)
      return row === undefined ? undefined : { ...passkeyOf(row), personId: String(row.person_id) }
    },
    async personOfIdentity(issuer, subject) {
      const row = sql.identity.get(issuer, subject)
      return row === undefined ? undefined : String(row.person_id)
    },
    async invitation(hash, at) {
      const row = sql.invitation.get(hash, at)
      return row === undefined ? undefined : invitationOf(row)
    },
    invitations: async at => sql.invitations.all(at).map(invitationOf),
    async session(hash) {
      const row = sql.session.get(hash)
      return row === undefined ? undefined : sessionOf(row)
    },
    async sessions(personId) {
      const all = sql.sessions.all().map(sessionOf)
      return personId === undefined ? all : all.filter(one => one.personId === personId)
    },
    async touch(sessionId, at) {
      sql.touch.run(at, sessionId)
    },
    async forgetSessions(at, unusedSince) {
      sql.forgetSessions.run(at, unusedSince)
    },
    attempts: async key => attemptsOf(key),
    async noteFailure(key, at) {
      sql.fail.run(key, at)
    },
    async noteTry(key, at, held) {
      let until: Instant | undefined
      transaction(() => {
        until = held(attemptsOf(key))
        if (until === undefined) sql.fail.run(key, at)
        return until === undefined
      })
      return until
    },
    async forgetFailures(key) {
      sql.forget.run(key)
    },
    async forgetFailuresBefore(at) {
      sql.forgetBefore.run(at)
    },
    async change(acts, changes) {
      const isDone = transaction(() => {
        if (!changes.every(make)) return false
        for (const act of [acts].flat()) audit.add(act)
        return true
      })
      return isDone ? 'done' : 'refused'
    },
    async noteRoles(people, at) {
      transaction(() => {
        const noted = new Map(sql.roles.all().map(row => [String(row.person_id), String(row.roles)]))
        for (const personId of new Set([...people.keys(), ...noted.keys()])) {
          const after = (people.get(personId) ?? []).toSorted().join(' ')
          const before = noted.get(personId) ?? ''
          if (before === after) continue
          sql.noteRoles.run(personId, after)
          audit.add({ at, who: 'machine', did: 'roles-changed', on: personId, before, after })
        }
        return true
      })
    },
    audit: async (from = 1) => audit.from(from),
    lastAudited: async did => audit.last(did),
    lastSignIns: async () =>
      new Map(sql.lastSignIns.all().map(row => [String(row.who), instant(Number(row.at))] as const)),
    auditHead: async () => audit.head(),
    async close() {
      if (db.isOpen) {
        db.exec('PRAGMA wal_checkpoint(TRUNCATE)')
        db.close()
      }
    },
  }
}

function passkeyOf(row: Row): Passkey {
  return {
    credentialId: String(row.credential_id),
    publicKey: Uint8Array.from(row.public_key as Uint8Array),
    counter: Number(row.counter),
    label: String(row.label),
    transports: JSON.parse(String(row.transports)),
    addedAt: instant(Number(row.added_at)),
    ...(row.used_at === null ? {} : { usedAt: instant(Number(row.used_at)) }),
  }
}

function invitationOf(row: Row): Invitation {
  return {
    personId: String(row.person_id),
    by: String(row.made_by),
    at: instant(Number(row.made_at)),
    until: instant(Number(row.until)),
  }
}

function sessionOf(row: Row): Session {
  return {
    id: String(row.id),
    personId: String(row.person_id),
    how: String(row.how) as SignedIn['how'],
    browser: String(row.browser),
    startedAt: instant(Number(row.started_at)),
    seenAt: instant(Number(row.seen_at)),
    endsAt: instant(Number(row.ends_at)),
  }
}
