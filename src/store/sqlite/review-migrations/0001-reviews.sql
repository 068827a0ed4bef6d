-- What is known of each closed case in figures, what was drawn for review, and what reviewers say. Nothing that a family said.
CREATE TABLE summary (
  case_id TEXT PRIMARY KEY,
  month TEXT NOT NULL,
  opened_at INTEGER NOT NULL,
  content TEXT NOT NULL
) STRICT;
CREATE INDEX summary_month ON summary (month);

-- Up to which change of a case summaries were made.
CREATE TABLE summarised (one INTEGER PRIMARY KEY CHECK (one = 1), changed_at INTEGER NOT NULL) STRICT;

CREATE TABLE draw (
  month TEXT PRIMARY KEY,
  seed TEXT NOT NULL,
  drawn_from INTEGER NOT NULL,
  size INTEGER NOT NULL,
  at INTEGER NOT NULL,
  by TEXT NOT NULL
) STRICT;

CREATE TABLE pick (
  case_id TEXT PRIMARY KEY,
  month TEXT NOT NULL REFERENCES draw (month),
  place INTEGER NOT NULL,
  reasons TEXT NOT NULL
) STRICT;
CREATE INDEX pick_month ON pick (month, place);

CREATE TABLE score (
  line INTEGER PRIMARY KEY,
  case_id TEXT NOT NULL REFERENCES pick (case_id),
  reviewer TEXT NOT NULL,
  at INTEGER NOT NULL,
  content TEXT NOT NULL,
  UNIQUE (case_id, reviewer)
) STRICT;
CREATE INDEX score_case ON score (case_id, line);
CREATE TRIGGER score_is_not_changed BEFORE UPDATE ON score BEGIN SELECT RAISE(ABORT, 'scores are never changed'); END;
CREATE TRIGGER score_is_not_taken_away BEFORE DELETE ON score BEGIN SELECT RAISE(ABORT, 'scores are never taken away'); END;
