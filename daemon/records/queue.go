package records

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Batch is a piece of the queue to the time-series server. What is in the body
// is the forwarder's.
type Batch struct {
	ID      int64
	Created time.Time
	Points  int
	Body    []byte
}

// BadLine is a line that the server refuses for what it says.
type BadLine struct {
	Text   string
	Reason string
}

// QueueSize is how much waits for the server.
type QueueSize struct {
	Batches, Points, Bytes int64
	Oldest                 time.Time // zero when empty
}

const enqueue = `INSERT INTO forward (created_ms, points, bytes, body) VALUES (?, ?, ?, ?)`

// Enqueue adds a batch of so many points at the end of the queue. When it
// returns, the batch is on the disk.
func (s *Store) Enqueue(ctx context.Context, batch []byte, points int) error {
	if _, err := s.write.ExecContext(ctx, enqueue, time.Now().UnixMilli(), points, len(batch), batch); err != nil {
		return fmt.Errorf("queue %d points: %w", points, err)
	}
	return nil
}

// nextBatches is served by the primary key.
const nextBatches = `SELECT id, created_ms, points, body FROM forward ORDER BY id LIMIT 1000`

// NextBatches returns the oldest batches, at least one if there is any, and
// more while together they have at most so many points.
func (s *Store) NextBatches(ctx context.Context, points int) ([]Batch, error) {
	rows, err := s.read.QueryContext(ctx, nextBatches)
	if err != nil {
		return nil, fmt.Errorf("read forward queue: %w", err)
	}
	defer rows.Close()
	var bs []Batch
	total := 0
	for rows.Next() {
		var b Batch
		var created sql.NullInt64
		if err := rows.Scan(&b.ID, &created, &b.Points, &b.Body); err != nil {
			return nil, fmt.Errorf("read forward queue: %w", err)
		}
		if total += b.Points; len(bs) > 0 && total > points {
			break
		}
		b.Created = fromMillis(created)
		bs = append(bs, b)
	}
	return bs, rows.Err()
}

const (
	dropBatch = `DELETE FROM forward WHERE id = ?`
	setAside  = `INSERT INTO quarantine (created_ms, reason, line) VALUES (?, ?, ?)`
)

// Delete takes batches that the server has out of the queue.
func (s *Store) Delete(ctx context.Context, ids ...int64) error {
	return s.Settle(ctx, ids, nil)
}

// Settle takes batches out of the queue and puts their bad lines into
// quarantine, in one transaction.
func (s *Store) Settle(ctx context.Context, ids []int64, bad []BadLine) error {
	err := s.transact(ctx, func(tx *sql.Tx) error {
		for _, id := range ids {
			if _, err := tx.ExecContext(ctx, dropBatch, id); err != nil {
				return err
			}
		}
		for _, l := range bad {
			if _, err := tx.ExecContext(ctx, setAside, time.Now().UnixMilli(), l.Reason, l.Text); err != nil {
				return err
			}
		}
		if len(bad) == 0 {
			return nil
		}
		_, err := tx.ExecContext(ctx, trimQuarantine, QuarantineBound)
		return err
	})
	if err != nil {
		return fmt.Errorf("settle forward queue: %w", err)
	}
	return nil
}

// QuarantineBound is how many bad lines are kept, the newest: enough to see
// what is wrong with them.
const QuarantineBound = 10_000

const trimQuarantine = `
DELETE FROM quarantine
WHERE  id <= (SELECT MAX(id) FROM quarantine) - ?`

// quarantined is served by the primary key.
const quarantined = `SELECT line, reason FROM quarantine ORDER BY id DESC LIMIT ?`

// Quarantined returns the newest bad lines.
func (s *Store) Quarantined(ctx context.Context, limit int) ([]BadLine, error) {
	rows, err := s.read.QueryContext(ctx, quarantined, limit)
	if err != nil {
		return nil, fmt.Errorf("read quarantine: %w", err)
	}
	defer rows.Close()
	var ls []BadLine
	for rows.Next() {
		var l BadLine
		if err := rows.Scan(&l.Text, &l.Reason); err != nil {
			return nil, fmt.Errorf("read quarantine: %w", err)
		}
		ls = append(ls, l)
	}
	return ls, rows.Err()
}

// queueSize is served by index forward_size alone, without touching the bodies.
const queueSize = `
SELECT COUNT(*), COALESCE(SUM(points), 0), COALESCE(SUM(bytes), 0), MIN(created_ms)
FROM   forward`

// QueueSize returns how much waits.
func (s *Store) QueueSize(ctx context.Context) (QueueSize, error) {
	var q QueueSize
	var oldest sql.NullInt64
	err := s.read.QueryRowContext(ctx, queueSize).Scan(&q.Batches, &q.Points, &q.Bytes, &oldest)
	q.Oldest = fromMillis(oldest)
	return q, err
}

// overBound lists the oldest batches: those from before a time, and those that
// have more than so many bytes behind and with them; served by index
// forward_size.
const overBound = `
SELECT id, points
FROM  (SELECT id, points, created_ms, SUM(bytes) OVER (ORDER BY id DESC) AS held FROM forward)
WHERE  held > ? OR created_ms < ?`

// Bound drops the oldest batches until at most so many bytes are left and none
// is from before a time. It returns how many points were dropped.
func (s *Store) Bound(ctx context.Context, bytes int64, before time.Time) (points int64, err error) {
	err = s.transact(ctx, func(tx *sql.Tx) error {
		ids, n, err := over(ctx, tx, bytes, before)
		if err != nil {
			return err
		}
		points = n
		for _, id := range ids {
			if _, err := tx.ExecContext(ctx, dropBatch, id); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("bound forward queue: %w", err)
	}
	return points, nil
}

func over(ctx context.Context, tx *sql.Tx, bytes int64, before time.Time) (ids []int64, points int64, err error) {
	rows, err := tx.QueryContext(ctx, overBound, bytes, before.UnixMilli())
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var id, n int64
		if err := rows.Scan(&id, &n); err != nil {
			return nil, 0, err
		}
		ids, points = append(ids, id), points+n
	}
	return ids, points, rows.Err()
}
