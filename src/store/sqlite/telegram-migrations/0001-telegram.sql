-- Which Telegram account is whose, codes by which accounts are linked (as SHA-256), where the live message of each open case
-- stands, and updates that could not be read (sealed).
CREATE TABLE link (chat TEXT PRIMARY KEY, person_id TEXT NOT NULL, linked_at INTEGER NOT NULL) STRICT;

CREATE TABLE code (
  code_hash TEXT PRIMARY KEY,
  person_id TEXT NOT NULL,
  made_at INTEGER NOT NULL,
  until INTEGER NOT NULL,
  used_at INTEGER
) STRICT;

CREATE TABLE status (
  case_id TEXT PRIMARY KEY,
  chat TEXT NOT NULL,
  message_id INTEGER NOT NULL,
  kept_at INTEGER NOT NULL
) STRICT;

CREATE TABLE parked (
  update_id INTEGER PRIMARY KEY,
  parked_at INTEGER NOT NULL,
  sealed BLOB NOT NULL
) STRICT;

-- What is known of the bot itself: its name, and when it last heard from the server.
CREATE TABLE known (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
