package records

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmdrift/diagnostics/finding"
)

// SetSinks names the receivers of notices: each transition recorded from now on
// leaves one message in the outbox for each of them.
func (s *Store) SetSinks(names ...string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sinks = slices.Clone(names)
}

// Transition records what is said about findings, in order, and the messages
// that tell it, in one transaction: after an error none of it has happened.
//
// A finding is known by loop, kind, leads and box; when an update or a clear
// names other leads and the loop has one open finding of that kind, it is that
// one. A transition already on record is skipped. A raise of a finding that is
// already open, and an update of one that is not, are recorded as what they
// are; the former is no news and sends nothing. A clear of a finding that is
// not open does nothing. Stats counts them.
func (s *Store) Transition(ctx context.Context, fs []finding.Finding) error {
	if len(fs) == 0 {
		return nil
	}
	s.mu.Lock()
	sinks := s.sinks
	s.mu.Unlock()
	var sum Stats
	err := s.transact(ctx, func(tx *sql.Tx) error {
		for i := range fs {
			if err := record(ctx, tx, &fs[i], sinks, &sum); err != nil {
				return fmt.Errorf("record %s of %s: %w", fs[i].Kind, fs[i].Loop, err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stats.Recorded += sum.Recorded
	s.stats.Repeated += sum.Repeated
	s.stats.Unmatched += sum.Unmatched
	s.stats.Notices += sum.Notices
	return nil
}

// eventByKey is served by the unique key.
const eventByKey = `SELECT id FROM finding_event WHERE key = ?`

func record(ctx context.Context, tx *sql.Tx, f *finding.Finding, sinks []string, sum *Stats) error {
	key := Key(f)
	var known int64
	switch err := tx.QueryRowContext(ctx, eventByKey, key).Scan(&known); {
	case err == nil:
		sum.Repeated++
		return nil
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	open, err := openOne(ctx, tx, f)
	if err != nil {
		return err
	}
	if open == 0 && f.State == finding.Cleared {
		sum.Unmatched++
		return nil
	}
	news := open == 0 || f.State != finding.Raised
	event := *f
	if open != 0 && f.State == finding.Raised {
		event.State = finding.Updated
	}
	if open == 0 {
		event.State = finding.Raised
		if open, err = insertFinding(ctx, tx, f); err != nil {
			return err
		}
	}
	if err := insertEvent(ctx, tx, open, key, &event); err != nil {
		return err
	}
	sum.Recorded++
	if !news {
		return nil
	}
	sum.Notices += uint64(len(sinks))
	return insertNotices(ctx, tx, key, &event, sinks)
}

// Key is the idempotency key of a transition: what it says of which finding at
// which time, as 32 hexadecimal digits.
func Key(f *finding.Finding) string {
	h := sha256.Sum256(fmt.Appendf(nil, "%q %q %q %q %d %d", f.Loop, f.Kind, leads(f), f.Box, f.State, f.Time.UnixMilli()))
	return hex.EncodeToString(h[:16])
}

func leads(f *finding.Finding) string { return strings.Join(f.Leads.Names(), " ") }

// openLike is served by index finding_open.
const openLike = `
SELECT id, leads
FROM   finding
WHERE  loop = ? AND kind = ? AND box = ? AND cleared_ms IS NULL`

// openOne finds the open finding that f speaks of; 0 for none.
func openOne(ctx context.Context, tx *sql.Tx, f *finding.Finding) (int64, error) {
	rows, err := tx.QueryContext(ctx, openLike, f.Loop, string(f.Kind), f.Box)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	var ids []int64
	for rows.Next() {
		var id int64
		var of string
		if err := rows.Scan(&id, &of); err != nil {
			return 0, err
		}
		if of == leads(f) {
			return id, nil
		}
		ids = append(ids, id)
	}
	if f.State != finding.Raised && len(ids) == 1 {
		return ids[0], rows.Err()
	}
	return 0, rows.Err()
}

const newFinding = `
INSERT INTO finding (loop, kind, leads, box, raised_ms, event)
VALUES (?, ?, ?, ?, ?, 0)`

func insertFinding(ctx context.Context, tx *sql.Tx, f *finding.Finding) (int64, error) {
	r, err := tx.ExecContext(ctx, newFinding, f.Loop, string(f.Kind), leads(f), f.Box, f.Time.UnixMilli())
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

const newEvent = `
INSERT INTO finding_event (finding, key, state, time_ms, leads, severity, since_ms, contact_ohm, error_degC,
       u_degC, p_over_limit, confidence, forecast, loops, engine, evidence)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

const moveFinding = `
UPDATE finding SET event = ?, leads = ?, cleared_ms = ?
WHERE  id = ?`

func insertEvent(ctx context.Context, tx *sql.Tx, of int64, key string, f *finding.Finding) error {
	forecast, err := jsonText(f.Forecast != nil, f.Forecast)
	if err != nil {
		return err
	}
	members, err := jsonText(f.Loops != nil, f.Loops)
	if err != nil {
		return err
	}
	r, err := tx.ExecContext(ctx, newEvent, of, key, int(f.State), f.Time.UnixMilli(), leads(f), int(f.Severity), millis(f.Since),
		number(float64(f.Contact)), number(float64(f.Error)), number(float64(f.U)), number(f.POverLimit), f.Confidence,
		forecast, members, f.Engine, f.Evidence)
	if err != nil {
		return err
	}
	id, err := r.LastInsertId()
	if err != nil {
		return err
	}
	var cleared sql.NullInt64
	if f.State == finding.Cleared {
		cleared = millis(f.Time)
	}
	_, err = tx.ExecContext(ctx, moveFinding, id, leads(f), cleared, of)
	return err
}

const newNotice = `
INSERT INTO outbox (sink, loop, key, body, created_ms, due_ms)
VALUES (?, ?, ?, ?, ?, 0)`

func insertNotices(ctx context.Context, tx *sql.Tx, key string, f *finding.Finding, sinks []string) error {
	body, err := json.Marshal(f)
	if err != nil {
		return err
	}
	for _, sink := range sinks {
		if _, err := tx.ExecContext(ctx, newNotice, sink, f.Loop, key, body, time.Now().UnixMilli()); err != nil {
			return err
		}
	}
	return nil
}
