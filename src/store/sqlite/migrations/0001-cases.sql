-- One step of a case: what happened and what it put out. `delivery_id` only for events that came from outside.
CREATE TABLE event (
  case_id     TEXT    NOT NULL,
  seq         INTEGER NOT NULL CHECK (seq > 0),
  at          INTEGER NOT NULL,
  event       TEXT    NOT NULL,
  effects     TEXT    NOT NULL,
  channel     TEXT,
  delivery_id TEXT,
  PRIMARY KEY (case_id, seq),
  CHECK ((channel IS NULL) = (delivery_id IS NULL))
) STRICT;

-- The same delivery twice is one event.
CREATE UNIQUE INDEX event_delivery ON event (channel, delivery_id) WHERE delivery_id IS NOT NULL;

-- The case as of its last event. (`case` is a word of SQL, hence the underscore.)
CREATE TABLE case_ (
  opened     INTEGER PRIMARY KEY AUTOINCREMENT, -- order of opening
  case_id    TEXT    NOT NULL UNIQUE,
  channel    TEXT    NOT NULL,
  chat       TEXT    NOT NULL,
  seq        INTEGER NOT NULL CHECK (seq > 0),
  closed     INTEGER NOT NULL CHECK (closed IN (0, 1)),
  changed_at INTEGER NOT NULL,
  state      TEXT    NOT NULL
) STRICT;

CREATE INDEX case_chat ON case_ (channel, chat);
-- Neither is touched by a step of a case that stays open.
CREATE INDEX case_open ON case_ (opened) WHERE closed = 0;
CREATE INDEX case_closed ON case_ (changed_at) WHERE closed = 1;

-- What has to leave, in the order it was decided. Rows stay when sent: they are what the family was told.
CREATE TABLE outbox (
  place           INTEGER PRIMARY KEY AUTOINCREMENT,
  effect_id       TEXT    NOT NULL UNIQUE,
  case_id         TEXT    NOT NULL,
  seq             INTEGER NOT NULL,
  lane            TEXT    NOT NULL CHECK (lane IN ('page', 'family')),
  queue           TEXT    NOT NULL,
  effect          TEXT    NOT NULL,
  not_before      INTEGER NOT NULL,
  tries           INTEGER NOT NULL DEFAULT 0,
  content         TEXT,
  rendered_at     INTEGER,
  status          TEXT    NOT NULL DEFAULT 'waiting' CHECK (status IN ('waiting', 'sent', 'given-up')),
  settled_at      INTEGER,
  outcome_unknown INTEGER NOT NULL DEFAULT 0 CHECK (outcome_unknown IN (0, 1)),
  leased_until    INTEGER,
  reason          TEXT,
  CHECK ((content IS NULL) = (rendered_at IS NULL)),
  CHECK ((status = 'waiting') = (settled_at IS NULL))
) STRICT;

CREATE INDEX outbox_unsent ON outbox (lane, queue, place) WHERE status = 'waiting';
CREATE INDEX outbox_case ON outbox (case_id, place);

-- Alarms still to come; at most one of a name in a case.
CREATE TABLE alarm (
  case_id TEXT    NOT NULL,
  name    TEXT    NOT NULL,
  due     INTEGER NOT NULL,
  PRIMARY KEY (case_id, name)
) STRICT, WITHOUT ROWID;

CREATE INDEX alarm_due ON alarm (due, case_id, name);
