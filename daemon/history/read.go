package history

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"ohmdrift/diagnostics/measure"
)

// Point is one stored number and its time.
type Point struct {
	At    time.Time
	Value float64
}

// Range returns the numbers of one quantity of a loop with from ≤ time < to in
// time order, as of the last flush. Their quality is the quantity Quality of
// the same times.
func (h *History) Range(ctx context.Context, tag string, q Quantity, from, to time.Time) ([]Point, error) {
	var ps []Point
	err := h.walk(ctx, tag, from, to, func(c *cursor) error {
		ps = append(ps, Point{time.UnixMilli(c.at).UTC(), c.value()})
		return nil
	}, labels.MustNewMatcher(labels.MatchEqual, quantityLabel, q.String()))
	return ps, err
}

// Replay calls take with each stored sample of a loop with from ≤ time < to, in
// time order, as of the last flush, until take returns an error. The pointer is
// valid during the call only.
func (h *History) Replay(ctx context.Context, tag string, from, to time.Time, take func(*measure.Sample) error) error {
	var s measure.Sample
	began := false
	err := h.walk(ctx, tag, from, to, func(c *cursor) error {
		if at := time.UnixMilli(c.at).UTC(); !began || !at.Equal(s.At) {
			if began {
				if err := take(&s); err != nil {
					return err
				}
			}
			s, began = measure.Empty(at, measure.Good), true
		}
		pack(&s, c.quantity, c.value())
		return nil
	})
	if err != nil || !began {
		return err
	}
	return take(&s)
}

// walk visits every number that matches in time order.
func (h *History) walk(ctx context.Context, tag string, from, to time.Time, visit func(*cursor) error, more ...*labels.Matcher) (err error) {
	h.dbMu.RLock()
	defer h.dbMu.RUnlock()
	if h.db == nil {
		return ErrClosed
	}
	if !from.Before(to) {
		return nil
	}
	q, err := h.db.Querier(millisFrom(from), millisFrom(to)-1)
	if err != nil {
		return fmt.Errorf("read history of %s: %w", tag, err)
	}
	defer func() { err = errors.Join(err, q.Close()) }()
	found := q.Select(ctx, false, nil, append(more, labels.MustNewMatcher(labels.MatchEqual, loopLabel, tag))...)
	var cs cursors
	for found.Next() {
		c, err := newCursor(found.At().Labels(), found.At().Iterator(nil))
		if err != nil {
			return fmt.Errorf("read history of %s: %w", tag, err)
		}
		if c.next() {
			cs = append(cs, c)
		}
	}
	if err := found.Err(); err != nil {
		return fmt.Errorf("read history of %s: %w", tag, err)
	}
	return cs.merge(ctx, tag, visit)
}

// millisFrom is the first whole millisecond that is not before t.
func millisFrom(t time.Time) int64 {
	ms := t.UnixMilli()
	if time.UnixMilli(ms).Before(t) {
		ms++
	}
	return ms
}

// cursor stands on one number of one series.
type cursor struct {
	quantity Quantity
	grid     grid
	form     form
	it       chunkenc.Iterator
	at       int64
	n        float64
}

func newCursor(l labels.Labels, it chunkenc.Iterator) (*cursor, error) {
	q, err := ParseQuantity(l.Get(quantityLabel))
	if err != nil {
		return nil, err
	}
	g, f, err := parseGrid(l.Get(gridLabel))
	if err != nil {
		return nil, err
	}
	return &cursor{quantity: q, grid: g, form: f, it: it}, nil
}

func (c *cursor) next() bool {
	if c.it.Next() != chunkenc.ValFloat {
		return false
	}
	c.at, c.n = c.it.At()
	return true
}

func (c *cursor) value() float64 { return c.grid.decode(c.n, c.form) }

// cursors is a heap by time, then quantity.
type cursors []*cursor

func (cs cursors) Len() int { return len(cs) }
func (cs cursors) Less(i, j int) bool {
	if cs[i].at != cs[j].at {
		return cs[i].at < cs[j].at
	}
	return cs[i].quantity < cs[j].quantity
}
func (cs cursors) Swap(i, j int) { cs[i], cs[j] = cs[j], cs[i] }

// Push is part of heap.Interface; a merge only shrinks.
func (cs *cursors) Push(x any) { *cs = append(*cs, x.(*cursor)) }

// Pop is part of heap.Interface.
func (cs *cursors) Pop() any {
	last := (*cs)[len(*cs)-1]
	*cs = (*cs)[:len(*cs)-1]
	return last
}

func (cs cursors) merge(ctx context.Context, tag string, visit func(*cursor) error) error {
	heap.Init(&cs)
	for n := 0; len(cs) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		c := cs[0]
		if err := visit(c); err != nil {
			return err
		}
		if c.next() {
			heap.Fix(&cs, 0)
			continue
		}
		if err := c.it.Err(); err != nil {
			return fmt.Errorf("read history of %s: %w", tag, err)
		}
		heap.Pop(&cs)
	}
	return nil
}
