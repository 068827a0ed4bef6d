-- How people of the clinic sign in, and who did what. Tokens are kept as SHA-256, passwords as argon2id.
CREATE TABLE password (person_id TEXT PRIMARY KEY, phc TEXT NOT NULL, set_at INTEGER NOT NULL) STRICT;

CREATE TABLE passkey (
  credential_id TEXT PRIMARY KEY,
  person_id TEXT NOT NULL,
  public_key BLOB NOT NULL,
  counter INTEGER NOT NULL,
  label TEXT NOT NULL,
  transports TEXT NOT NULL,
  added_at INTEGER NOT NULL,
  used_at INTEGER
) STRICT;
CREATE INDEX passkey_person ON passkey (person_id);

CREATE TABLE identity (
  issuer TEXT NOT NULL,
  subject TEXT NOT NULL,
  person_id TEXT NOT NULL,
  PRIMARY KEY (issuer, subject)
) STRICT;

CREATE TABLE invitation (
  token_hash TEXT PRIMARY KEY,
  person_id TEXT NOT NULL,
  made_by TEXT NOT NULL,
  made_at INTEGER NOT NULL,
  until INTEGER NOT NULL,
  used_at INTEGER,
  withdrawn_at INTEGER
) STRICT;

CREATE TABLE session (
  token_hash TEXT PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  person_id TEXT NOT NULL,
  how TEXT NOT NULL,
  browser TEXT NOT NULL,
  started_at INTEGER NOT NULL,
  seen_at INTEGER NOT NULL,
  ends_at INTEGER NOT NULL
) STRICT;

CREATE TABLE attempt (key TEXT PRIMARY KEY, failures INTEGER NOT NULL, last_at INTEGER NOT NULL) STRICT;
CREATE TABLE role_noted (person_id TEXT PRIMARY KEY, roles TEXT NOT NULL) STRICT;

CREATE TABLE audit (
  line INTEGER PRIMARY KEY,
  at INTEGER NOT NULL,
  who TEXT NOT NULL,
  did TEXT NOT NULL,
  subject TEXT NOT NULL,
  before TEXT,
  after TEXT,
  previous TEXT NOT NULL,
  hash TEXT NOT NULL
) STRICT;
CREATE TRIGGER audit_is_not_changed BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT, 'lines of the audit trail are never changed'); END;
CREATE TRIGGER audit_is_not_cut BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT, 'lines of the audit trail are never removed'); END;
-- Where the trail ends, apart from its lines: cutting the last ones off is seen.
CREATE TABLE audit_head (one INTEGER PRIMARY KEY CHECK (one = 1), line INTEGER NOT NULL, hash TEXT NOT NULL) STRICT;
