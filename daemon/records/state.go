package records

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Snapshot is the state of a loop's detectors as of a time.
type Snapshot struct {
	AsOf time.Time
	Body []byte
}

const saveSnapshot = `
INSERT INTO snapshot (loop, asof_ms, body) VALUES (?, ?, ?)
ON CONFLICT (loop) DO UPDATE SET asof_ms = excluded.asof_ms, body = excluded.body`

// SaveSnapshot replaces the snapshot of one loop.
func (s *Store) SaveSnapshot(ctx context.Context, loop string, n Snapshot) error {
	return s.SaveSnapshots(ctx, map[string]Snapshot{loop: n})
}

// SaveSnapshots replaces the snapshots of several loops in one transaction, so
// that a start finds them of the same moment.
func (s *Store) SaveSnapshots(ctx context.Context, byLoop map[string]Snapshot) error {
	err := s.transact(ctx, func(tx *sql.Tx) error {
		return putSnapshots(ctx, tx, byLoop)
	})
	if err != nil {
		return fmt.Errorf("save snapshots: %w", err)
	}
	return nil
}

// ReplaceSnapshots stores the snapshots of the whole plant in one transaction;
// those of loops that are not among them go.
func (s *Store) ReplaceSnapshots(ctx context.Context, byLoop map[string]Snapshot) error {
	err := s.transact(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM snapshot`); err != nil {
			return err
		}
		return putSnapshots(ctx, tx, byLoop)
	})
	if err != nil {
		return fmt.Errorf("save snapshots: %w", err)
	}
	return nil
}

func putSnapshots(ctx context.Context, tx *sql.Tx, byLoop map[string]Snapshot) error {
	st, err := tx.PrepareContext(ctx, saveSnapshot)
	if err != nil {
		return err
	}
	defer st.Close()
	for loop, n := range byLoop {
		if _, err := st.ExecContext(ctx, loop, n.AsOf.UnixMilli(), n.Body); err != nil {
			return fmt.Errorf("%s: %w", loop, err)
		}
	}
	return nil
}

const loadSnapshots = `SELECT loop, asof_ms, body FROM snapshot`

// LoadSnapshots returns the newest snapshot of every loop that has one.
func (s *Store) LoadSnapshots(ctx context.Context) (map[string]Snapshot, error) {
	rows, err := s.read.QueryContext(ctx, loadSnapshots)
	if err != nil {
		return nil, fmt.Errorf("load snapshots: %w", err)
	}
	defer rows.Close()
	all := map[string]Snapshot{}
	for rows.Next() {
		var loop string
		var asOf sql.NullInt64
		var n Snapshot
		if err := rows.Scan(&loop, &asOf, &n.Body); err != nil {
			return nil, fmt.Errorf("load snapshots: %w", err)
		}
		n.AsOf = fromMillis(asOf)
		all[loop] = n
	}
	return all, rows.Err()
}

// AuditEntry says who changed what.
type AuditEntry struct {
	Time    time.Time
	Who     string // a user, or what acted: "signal"
	Action  string // "config-loaded", "config-refused", …
	Subject string // file or loop
	Diff    string // what became different, as text
	Hash    string // of the new state, hex SHA-256
}

const newAudit = `
INSERT INTO audit (time_ms, who, action, subject, diff, hash)
VALUES (?, ?, ?, ?, ?, ?)`

// Audit adds an entry. It can be neither changed nor deleted.
func (s *Store) Audit(ctx context.Context, e AuditEntry) error {
	if _, err := s.write.ExecContext(ctx, newAudit, e.Time.UnixMilli(), e.Who, e.Action, e.Subject, e.Diff, e.Hash); err != nil {
		return fmt.Errorf("audit %s: %w", e.Action, err)
	}
	return nil
}

// audits is served by the primary key.
const audits = `
SELECT time_ms, who, action, subject, diff, hash
FROM   audit
ORDER  BY id DESC LIMIT ?`

// Audits returns the newest entries, newest first.
func (s *Store) Audits(ctx context.Context, limit int) ([]AuditEntry, error) {
	rows, err := s.read.QueryContext(ctx, audits, limit)
	if err != nil {
		return nil, fmt.Errorf("read audit: %w", err)
	}
	defer rows.Close()
	var es []AuditEntry
	for rows.Next() {
		var e AuditEntry
		var at sql.NullInt64
		if err := rows.Scan(&at, &e.Who, &e.Action, &e.Subject, &e.Diff, &e.Hash); err != nil {
			return nil, fmt.Errorf("read audit: %w", err)
		}
		e.Time = fromMillis(at)
		es = append(es, e)
	}
	return es, rows.Err()
}

// JournalEntry is what a person did or saw at a loop.
type JournalEntry struct {
	Time time.Time
	Loop string
	Who  string
	Text string
}

const newJournal = `INSERT INTO journal (time_ms, loop, who, text) VALUES (?, ?, ?, ?)`

// AddJournal adds an entry. It can be neither changed nor deleted.
func (s *Store) AddJournal(ctx context.Context, e JournalEntry) error {
	if _, err := s.write.ExecContext(ctx, newJournal, e.Time.UnixMilli(), e.Loop, e.Who, e.Text); err != nil {
		return fmt.Errorf("journal of %s: %w", e.Loop, err)
	}
	return nil
}

// journalOfLoop is served by index journal_loop.
const journalOfLoop = `
SELECT time_ms, loop, who, text
FROM   journal
WHERE  loop = ?
ORDER  BY time_ms, id`

// Journal returns a loop's entries in time order.
func (s *Store) Journal(ctx context.Context, loop string) ([]JournalEntry, error) {
	rows, err := s.read.QueryContext(ctx, journalOfLoop, loop)
	if err != nil {
		return nil, fmt.Errorf("read journal of %s: %w", loop, err)
	}
	defer rows.Close()
	var es []JournalEntry
	for rows.Next() {
		var e JournalEntry
		var at sql.NullInt64
		if err := rows.Scan(&at, &e.Loop, &e.Who, &e.Text); err != nil {
			return nil, fmt.Errorf("read journal of %s: %w", loop, err)
		}
		e.Time = fromMillis(at)
		es = append(es, e)
	}
	return es, rows.Err()
}
