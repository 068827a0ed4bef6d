-- Fewer pages touched by a step, and content as bytes. `stored_content` turns a text sealed as base64 into its bytes; it
-- is given by database.ts. Nothing is opened: keys are not needed.
ALTER TABLE case_ RENAME TO case_1;
ALTER TABLE event RENAME TO event_1;
ALTER TABLE outbox RENAME TO outbox_1;
DROP INDEX case_chat;
DROP INDEX case_open;
DROP INDEX case_closed;
DROP INDEX event_delivery;
DROP INDEX outbox_unsent;

-- The case as of its last event. (`case` is a word of SQL, hence the underscore.) Content is text or bytes, as given.
CREATE TABLE case_ (
  opened     INTEGER PRIMARY KEY, -- order of opening; cases are never deleted, so it is never used again
  case_id    TEXT    NOT NULL UNIQUE,
  channel    TEXT    NOT NULL,
  chat       TEXT    NOT NULL,
  seq        INTEGER NOT NULL CHECK (seq > 0),
  closed     INTEGER NOT NULL CHECK (closed IN (0, 1)),
  changed_at INTEGER NOT NULL,
  state      ANY     NOT NULL
) STRICT;

CREATE INDEX case_chat ON case_ (channel, chat);
CREATE INDEX case_open ON case_ (opened) WHERE closed = 0;
CREATE INDEX case_closed ON case_ (changed_at) WHERE closed = 1;

-- One step of a case: what happened, what it put out, and which rows of the outbox it wrote (`outbox_count` rows, the last
-- at `outbox_last`). In the order they were written, so that a step adds to the last page.
CREATE TABLE event (
  written      INTEGER PRIMARY KEY,
  opened       INTEGER NOT NULL,
  seq          INTEGER NOT NULL CHECK (seq > 0),
  at           INTEGER NOT NULL,
  outbox_last  INTEGER,
  outbox_count INTEGER NOT NULL,
  event        ANY     NOT NULL,
  effects      ANY     NOT NULL,
  CHECK ((outbox_last IS NULL) = (outbox_count = 0))
) STRICT;

CREATE UNIQUE INDEX event_case ON event (opened, seq);

-- The same delivery twice is one event.
CREATE TABLE delivery (
  delivery_id TEXT NOT NULL,
  channel     TEXT NOT NULL,
  PRIMARY KEY (delivery_id, channel)
) STRICT, WITHOUT ROWID;

-- What has to leave, in the order it was decided. Rows stay when sent: they are what the family was told.
CREATE TABLE outbox (
  place           INTEGER PRIMARY KEY,
  effect_id       TEXT    NOT NULL UNIQUE,
  opened          INTEGER NOT NULL,
  seq             INTEGER NOT NULL,
  lane            TEXT    NOT NULL CHECK (lane IN ('page', 'family')),
  queue           TEXT    NOT NULL,
  effect          ANY     NOT NULL,
  not_before      INTEGER NOT NULL,
  tries           INTEGER NOT NULL DEFAULT 0,
  content         ANY,
  rendered_at     INTEGER,
  status          TEXT    NOT NULL DEFAULT 'waiting' CHECK (status IN ('waiting', 'sent', 'given-up')),
  settled_at      INTEGER,
  outcome_unknown INTEGER NOT NULL DEFAULT 0 CHECK (outcome_unknown IN (0, 1)),
  leased_until    INTEGER,
  reason          TEXT,
  CHECK ((content IS NULL) = (rendered_at IS NULL)),
  CHECK ((status = 'waiting') = (settled_at IS NULL))
) STRICT;

CREATE INDEX outbox_unsent ON outbox (place, lane) WHERE status = 'waiting';

INSERT INTO case_
  SELECT opened, case_id, channel, chat, seq, closed, changed_at, stored_content(state) FROM case_1 ORDER BY opened;

INSERT INTO outbox
  SELECT row.place, row.effect_id, case_.opened, row.seq, row.lane, row.queue, stored_content(row.effect), row.not_before,
         row.tries, stored_content(row.content), row.rendered_at, row.status, row.settled_at, row.outcome_unknown,
         row.leased_until, row.reason
  FROM outbox_1 AS row JOIN case_ USING (case_id) ORDER BY row.place;

INSERT INTO event (opened, seq, at, outbox_last, outbox_count, event, effects)
  SELECT case_.opened, event_1.seq, event_1.at, max(row.place), count(row.place), stored_content(event_1.event),
         stored_content(event_1.effects)
  FROM event_1 JOIN case_ USING (case_id)
    LEFT JOIN outbox_1 AS row ON row.case_id = event_1.case_id AND row.seq = event_1.seq
  GROUP BY case_.opened, event_1.seq ORDER BY event_1.rowid;

INSERT INTO delivery SELECT delivery_id, channel FROM event_1 WHERE delivery_id IS NOT NULL ORDER BY delivery_id, channel;

DROP TABLE event_1;
DROP TABLE outbox_1;
DROP TABLE case_1;
