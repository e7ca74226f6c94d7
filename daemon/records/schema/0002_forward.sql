-- Results on their way to the plant's time-series server.
CREATE TABLE forward (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	created_ms INTEGER NOT NULL,
	points     INTEGER NOT NULL,
	bytes      INTEGER NOT NULL,
	body       BLOB    NOT NULL
);
CREATE INDEX forward_size ON forward (id, created_ms, points, bytes);

-- Lines that the server refuses for what they say.
CREATE TABLE quarantine (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	created_ms INTEGER NOT NULL,
	reason     TEXT    NOT NULL,
	line       TEXT    NOT NULL
);
