// Package records keeps what must survive and what must leave: findings with
// their history, the outbox of notices, the queue to the plant's time-series
// server, detector snapshots, audit and journal. One SQLite file, state.db, in
// WAL mode with synchronous=FULL: a committed transaction is on the disk.
//
//	Transition ─┬─ finding, finding_event      what is open, and all that was said
//	            └─ outbox, one row per sink     in the same transaction
//	Enqueue ─── forward ─ NextBatches ─ Settle  results for the server, bad lines to quarantine
//
// Events, audit and journal are only ever added to; the database itself refuses
// to change or delete them. Each transition has a key made of what it says. The
// same transition said again, as after a restart that replays the last minutes,
// is recognised by it: nothing is recorded and nothing is sent twice.
//
// Two daemons never share a folder: Open takes a lock on it. The layout of the
// database is the numbered files of schema/, applied in order; a database newer
// than the program is refused.
//
// Raw samples are not here (package history): a row each would cost a kilobyte.
package records
