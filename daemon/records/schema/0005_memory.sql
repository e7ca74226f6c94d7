-- What parts of the daemon have learned and want back after a restart, by name.
CREATE TABLE memory (
	name TEXT PRIMARY KEY,
	body BLOB NOT NULL
) WITHOUT ROWID;
