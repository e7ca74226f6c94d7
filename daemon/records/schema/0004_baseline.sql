-- The accepted state of a loop's leads after work; the newest of a loop is in
-- force. Values are JSON, ohms by lead or loop; what was not reported is left out.
CREATE TABLE baseline (
	id       INTEGER PRIMARY KEY AUTOINCREMENT,
	loop     TEXT    NOT NULL,
	at_ms    INTEGER NOT NULL, -- when the leads were in this state
	ohms     TEXT    NOT NULL,
	proposer TEXT    NOT NULL,
	accepter TEXT    NOT NULL,
	note     TEXT    NOT NULL
);
CREATE INDEX baseline_loop ON baseline (loop, id);
CREATE TRIGGER baseline_stays BEFORE UPDATE ON baseline
BEGIN SELECT RAISE(ABORT, 'a baseline is never changed; accept a new one'); END;
CREATE TRIGGER baseline_kept BEFORE DELETE ON baseline
BEGIN SELECT RAISE(ABORT, 'a baseline is never deleted'); END;
