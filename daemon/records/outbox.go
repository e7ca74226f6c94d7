package records

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Message is one notice on its way to one sink.
type Message struct {
	ID       int64
	Sink     string
	Loop     string
	Key      string // idempotency key: the same at every attempt
	Body     []byte // the finding as JSON
	Created  time.Time
	Attempts int // tried so far
}

// dueMessages: the oldest of each loop, so that a loop's order is kept while one
// of its messages waits; served by index outbox_waiting.
const dueMessages = `
SELECT id, sink, loop, key, body, created_ms, attempts
FROM   outbox
WHERE  id IN (SELECT MIN(id) FROM outbox WHERE sink = ? AND done_ms IS NULL GROUP BY loop)
  AND  due_ms <= ?
ORDER  BY id LIMIT ?`

// DueMessages returns what a sink may be sent now: at most one message of each
// loop, the next in its order, oldest first.
func (s *Store) DueMessages(ctx context.Context, sink string, now time.Time, limit int) ([]Message, error) {
	rows, err := s.read.QueryContext(ctx, dueMessages, sink, now.UnixMilli(), limit)
	if err != nil {
		return nil, fmt.Errorf("read outbox of %s: %w", sink, err)
	}
	defer rows.Close()
	var ms []Message
	for rows.Next() {
		var m Message
		var created sql.NullInt64
		if err := rows.Scan(&m.ID, &m.Sink, &m.Loop, &m.Key, &m.Body, &created, &m.Attempts); err != nil {
			return nil, fmt.Errorf("read outbox of %s: %w", sink, err)
		}
		m.Created = fromMillis(created)
		ms = append(ms, m)
	}
	return ms, rows.Err()
}

// waitingMessages is served by index outbox_waiting.
const waitingMessages = `SELECT COUNT(*) FROM outbox WHERE sink = ? AND done_ms IS NULL`

// WaitingMessages counts what a sink has not been sent.
func (s *Store) WaitingMessages(ctx context.Context, sink string) (int, error) {
	var n int
	err := s.read.QueryRowContext(ctx, waitingMessages, sink).Scan(&n)
	return n, err
}

const closeMessage = `
UPDATE outbox SET done_ms = ?, delivered = ?, problem = ?, attempts = attempts + 1
WHERE  id = ?`

// MessageDelivered closes a message that its sink has taken.
func (s *Store) MessageDelivered(ctx context.Context, id int64) error {
	return s.closeMessage(ctx, id, true, "")
}

// MessageRefused closes a message that will never be taken, and keeps why.
func (s *Store) MessageRefused(ctx context.Context, id int64, why string) error {
	return s.closeMessage(ctx, id, false, why)
}

func (s *Store) closeMessage(ctx context.Context, id int64, delivered bool, why string) error {
	if _, err := s.write.ExecContext(ctx, closeMessage, time.Now().UnixMilli(), delivered, why, id); err != nil {
		return fmt.Errorf("close message %d: %w", id, err)
	}
	return nil
}

const retryMessage = `
UPDATE outbox SET due_ms = ?, problem = ?, attempts = attempts + 1
WHERE  id = ?`

// MessageRetry leaves a message for a later attempt.
func (s *Store) MessageRetry(ctx context.Context, id int64, due time.Time, why string) error {
	if _, err := s.write.ExecContext(ctx, retryMessage, due.UnixMilli(), why, id); err != nil {
		return fmt.Errorf("postpone message %d: %w", id, err)
	}
	return nil
}

// pruneMessages is served by index outbox_done.
const pruneMessages = `DELETE FROM outbox WHERE done_ms < ?`

// PruneMessages deletes closed messages of before; what they told stays on
// record as events.
func (s *Store) PruneMessages(ctx context.Context, before time.Time) error {
	_, err := s.write.ExecContext(ctx, pruneMessages, before.UnixMilli())
	return err
}
