-- The newest state of each loop's detectors.
CREATE TABLE snapshot (
	loop    TEXT    PRIMARY KEY,
	asof_ms INTEGER NOT NULL,
	body    BLOB    NOT NULL
) WITHOUT ROWID;

-- Who changed what: reloads with the difference and the hash of the files.
CREATE TABLE audit (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	time_ms INTEGER NOT NULL,
	who     TEXT    NOT NULL,
	action  TEXT    NOT NULL,
	subject TEXT    NOT NULL,
	diff    TEXT    NOT NULL,
	hash    TEXT    NOT NULL
);
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'an audit record is never changed'); END;
CREATE TRIGGER audit_kept BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'an audit record is never deleted'); END;

-- What people did and saw at a loop.
CREATE TABLE journal (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	time_ms INTEGER NOT NULL,
	loop    TEXT    NOT NULL,
	who     TEXT    NOT NULL,
	text    TEXT    NOT NULL
);
CREATE INDEX journal_loop ON journal (loop, time_ms);
CREATE TRIGGER journal_stays BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'a journal entry is never changed'); END;
CREATE TRIGGER journal_kept BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'a journal entry is never deleted'); END;
