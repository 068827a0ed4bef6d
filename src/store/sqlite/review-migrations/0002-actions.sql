-- Cases that somebody wants to have reviewed.
CREATE TABLE flag (case_id TEXT PRIMARY KEY, at INTEGER NOT NULL, by TEXT NOT NULL) STRICT;

-- What is to be done about a finding: by whom, until which day. Only added to; an end is a row of its own.
CREATE TABLE action (
  line INTEGER PRIMARY KEY,
  case_id TEXT NOT NULL REFERENCES pick (case_id),
  says TEXT NOT NULL,
  owner TEXT NOT NULL,
  due TEXT NOT NULL,
  at INTEGER NOT NULL,
  by TEXT NOT NULL
) STRICT;
CREATE TABLE action_end (
  action INTEGER PRIMARY KEY REFERENCES action (line),
  how TEXT NOT NULL CHECK (how IN ('flow', 'setting', 'reason')),
  says TEXT NOT NULL,
  at INTEGER NOT NULL,
  by TEXT NOT NULL
) STRICT;
CREATE TRIGGER action_is_not_changed BEFORE UPDATE ON action BEGIN SELECT RAISE(ABORT, 'actions are never changed'); END;
CREATE TRIGGER action_is_not_taken_away BEFORE DELETE ON action BEGIN SELECT RAISE(ABORT, 'actions are never taken away'); END;
CREATE TRIGGER end_is_not_changed BEFORE UPDATE ON action_end BEGIN SELECT RAISE(ABORT, 'ends are never changed'); END;
CREATE TRIGGER end_is_not_taken_away BEFORE DELETE ON action_end BEGIN SELECT RAISE(ABORT, 'ends are never taken away'); END;

-- Summaries say more than they did: each is made anew where its case is still there.
DELETE FROM summarised;
