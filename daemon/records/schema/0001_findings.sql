-- A finding is what is open or was; its events are what was said about it, each
-- once and never changed.
CREATE TABLE finding (
	id         INTEGER PRIMARY KEY,
	loop       TEXT    NOT NULL,
	kind       TEXT    NOT NULL,
	leads      TEXT    NOT NULL, -- "a1 b1", empty where none can be named
	box        TEXT    NOT NULL, -- of a common cause, else empty
	raised_ms  INTEGER NOT NULL,
	cleared_ms INTEGER,          -- NULL = open
	event      INTEGER NOT NULL  -- the newest finding_event
);
CREATE INDEX finding_open ON finding (loop, kind, box) WHERE cleared_ms IS NULL;
CREATE INDEX finding_loop ON finding (loop, raised_ms);

CREATE TABLE finding_event (
	id           INTEGER PRIMARY KEY AUTOINCREMENT,
	finding      INTEGER NOT NULL REFERENCES finding (id),
	key          TEXT    NOT NULL UNIQUE, -- the same transition said again is no second event
	state        INTEGER NOT NULL,        -- 0 raised, 1 updated, 2 cleared
	time_ms      INTEGER NOT NULL,
	leads        TEXT    NOT NULL,
	severity     INTEGER NOT NULL,
	since_ms     INTEGER,
	contact_ohm  REAL,
	error_degC   REAL,
	u_degC       REAL,
	p_over_limit REAL,
	confidence   REAL    NOT NULL,
	forecast     TEXT,                    -- JSON
	loops        TEXT,                    -- JSON, members of a common cause
	engine       TEXT    NOT NULL,
	evidence     TEXT    NOT NULL
);
CREATE INDEX finding_event_of ON finding_event (finding, id);

CREATE TRIGGER finding_event_stays BEFORE UPDATE ON finding_event
BEGIN SELECT RAISE(ABORT, 'a recorded event is never changed'); END;
CREATE TRIGGER finding_event_kept BEFORE DELETE ON finding_event
BEGIN SELECT RAISE(ABORT, 'a recorded event is never deleted'); END;

-- What must leave, written in the transaction of the event that it tells.
CREATE TABLE outbox (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	sink       TEXT    NOT NULL,
	loop       TEXT    NOT NULL,
	key        TEXT    NOT NULL, -- the receiver's idempotency key
	body       BLOB    NOT NULL, -- JSON
	created_ms INTEGER NOT NULL,
	due_ms     INTEGER NOT NULL, -- not tried again before
	attempts   INTEGER NOT NULL DEFAULT 0,
	problem    TEXT    NOT NULL DEFAULT '',
	done_ms    INTEGER,          -- NULL = to be sent
	delivered  INTEGER NOT NULL DEFAULT 0,
	UNIQUE (sink, key)
);
CREATE INDEX outbox_waiting ON outbox (sink, loop, id) WHERE done_ms IS NULL;
CREATE INDEX outbox_done ON outbox (done_ms) WHERE done_ms IS NOT NULL;
