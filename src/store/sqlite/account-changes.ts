import type { DatabaseSync } from 'node:sqlite'
import type { AccountChange } from '../../accounts/account-store.ts'

/** Carries out one change inside a transaction of the caller; false where it cannot be made as it says. */
export type MakeChange = (change: AccountChange) => boolean

export function accountChanges(db: DatabaseSync): MakeChange {
  const sql = {
    setPassword: db.prepare(
      'INSERT INTO password VALUES (?, ?, ?) ON CONFLICT (person_id) DO UPDATE SET phc = excluded.phc, set_at = excluded.set_at',
    ),
    removePassword: db.prepare('DELETE FROM password WHERE person_id = ?'),
    addPasskey: db.prepare('INSERT OR IGNORE INTO passkey VALUES (?, ?, ?, ?, ?, ?, ?, NULL)'),
    usePasskey: db.prepare(
      `UPDATE passkey SET counter = ?1, used_at = ?2
       WHERE credential_id = ?3 AND (counter < ?1 OR (counter = 0 AND ?1 = 0))`,
    ),
    removePasskey: db.prepare('DELETE FROM passkey WHERE person_id = ? AND credential_id = ?'),
    addIdentity: db.prepare('INSERT OR IGNORE INTO identity VALUES (?, ?, ?)'),
    addInvitation: db.prepare('INSERT INTO invitation VALUES (?, ?, ?, ?, ?, NULL, NULL)'),
    useInvitation: db.prepare(
      `UPDATE invitation SET used_at = ?1
       WHERE token_hash = ?2 AND used_at IS NULL AND withdrawn_at IS NULL AND until > ?1`,
    ),
    withdrawInvitations: db.prepare(
      'UPDATE invitation SET withdrawn_at = ? WHERE person_id = ? AND used_at IS NULL AND withdrawn_at IS NULL',
    ),
    beginSession: db.prepare('INSERT INTO session VALUES (?, ?, ?, ?, ?, ?, ?, ?)'),
    endSession: db.prepare('DELETE FROM session WHERE person_id = ? AND id = ?'),
    endSessions: db.prepare('DELETE FROM session WHERE person_id = ? AND id <> ?'),
  }

  return change => {
    switch (change.kind) {
      case 'set-password':
        return sql.setPassword.run(change.personId, change.password, change.at).changes === 1
      case 'remove-password':
        return sql.removePassword.run(change.personId).changes === 1
      case 'add-passkey': {
        const { credentialId, publicKey, counter, label, transports, addedAt } = change.passkey
        const added = sql.addPasskey.run(
          credentialId,
          change.personId,
          publicKey,
          counter,
          label,
          JSON.stringify(transports),
          addedAt,
        )
        return added.changes === 1
      }
      case 'use-passkey':
        return sql.usePasskey.run(change.counter, change.at, change.credentialId).changes === 1
      case 'remove-passkey':
        return sql.removePasskey.run(change.personId, change.credentialId).changes === 1
      case 'add-identity':
        return sql.addIdentity.run(change.issuer, change.subject, change.personId).changes === 1
      case 'add-invitation': {
        const { personId, by, at, until } = change.invitation
        return sql.addInvitation.run(change.tokenHash, personId, by, at, until).changes === 1
      }
      case 'use-invitation':
        return sql.useInvitation.run(change.at, change.tokenHash).changes === 1
      case 'withdraw-invitations':
        sql.withdrawInvitations.run(change.at, change.personId)
        return true
      case 'begin-session': {
        const { id, personId, how, browser, startedAt, seenAt, endsAt } = change.session
        return (
          sql.beginSession.run(change.tokenHash, id, personId, how, browser, startedAt, seenAt, endsAt).changes === 1
        )
      }
      case 'end-session':
        return sql.endSession.run(change.personId, change.sessionId).changes === 1
      case 'end-sessions':
        sql.endSessions.run(change.personId, change.except ?? '')
        return true
    }
  }
}
