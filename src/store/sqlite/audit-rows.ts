import type { DatabaseSync, SQLOutputValue } from 'node:sqlite'
import { type AuditAct, type AuditHead, type AuditLine, type Deed, nextLine } from '../../accounts/audit.ts'
import { instant } from '../../time/instant.ts'

/** The audit trail's rows. Called inside a transaction of the caller. */
export interface AuditRows {
  add(act: AuditAct): void
  from(line: number): readonly AuditLine[]
  last(did: Deed): AuditLine | undefined
  head(): AuditHead | undefined
}

export function auditRows(db: DatabaseSync): AuditRows {
  const sql = {
    head: db.prepare('SELECT line, hash FROM audit_head'),
    setHead: db.prepare(
      'INSERT INTO audit_head VALUES (1, ?, ?) ON CONFLICT (one) DO UPDATE SET line = excluded.line, hash = excluded.hash',
    ),
    add: db.prepare('INSERT INTO audit VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)'),
    last: db.prepare('SELECT * FROM audit WHERE did = ? ORDER BY line DESC LIMIT 1'),
    from: db.prepare('SELECT * FROM audit WHERE line >= ? ORDER BY line'),
  }

  function head(): AuditHead | undefined {
    const row = sql.head.get()
    return row === undefined ? undefined : { line: Number(row.line), hash: String(row.hash) }
  }

  return {
    head,
    add(act) {
      const { line, at, who, did, on, before, after, previous, hash } = nextLine(act, head())
      sql.add.run(line, at, who, did, on, before ?? null, after ?? null, previous, hash)
      sql.setHead.run(line, hash)
    },
    last(did) {
      const row = sql.last.get(did)
      return row === undefined ? undefined : lineOf(row)
    },
    from: line => sql.from.all(line).map(lineOf),
  }
}

function lineOf(row: Record<string, SQLOutputValue>): AuditLine {
  const { before, after } = row
  return {
    line: Number(row.line),
    at: instant(Number(row.at)),
    who: String(row.who),
    did: String(row.did) as Deed,
    on: String(row.subject),
    ...(before === null || before === undefined ? {} : { before: String(before) }),
    ...(after === null || after === undefined ? {} : { after: String(after) }),
    previous: String(row.previous),
    hash: String(row.hash),
  }
}
