package daemon

import (
	"context"
	"iter"
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// recalled says up to when the stored values are a recorded past.
type recalled struct{ until time.Time }

// Recall takes in a recorded past, samples in time order over all loops: it is
// stored, run through the same engine as live samples, and marked as recorded.
// What the engine finds there goes on record without a notice: nobody is to be
// called for it now. Call it before Run. It returns how many samples there were.
func (d *Daemon) Recall(ctx context.Context, past iter.Seq2[string, *measure.Sample]) (int, error) {
	g := d.current()
	r := &recall{d: d, g: g, ctx: ctx}
	d.records.SetSinks() // nothing leaves for the past
	defer func() { d.records.SetSinks(d.notify.Sinks()...) }()
	err := d.history.Import(ctx, func(yield func(string, *measure.Sample) bool) {
		for tag, s := range past {
			if r.err != nil || !r.take(tag, s) || !yield(tag, s) {
				return
			}
		}
	})
	if err == nil {
		err = r.finish()
	}
	return r.samples, err
}

// recall is one run of Recall.
type recall struct {
	d       *Daemon
	g       *generation
	ctx     context.Context
	mark    time.Time // the next one
	last    time.Time
	said    []finding.Finding
	samples int
	err     error
}

// batch is how many transitions of the past go into one transaction.
const batch = 500

func (r *recall) take(tag string, s *measure.Sample) bool {
	if r.ctx.Err() != nil {
		r.err = r.ctx.Err()
		return false
	}
	if r.mark.IsZero() {
		r.mark = s.At.Truncate(drift.Mark).Add(drift.Mark)
		if last := r.g.near.mark; !last.IsZero() && s.At.Sub(last) < catchUpMost {
			r.mark = last.Add(drift.Mark) // it goes on where another past has ended
		}
	}
	for !s.At.Before(r.mark) {
		r.said = r.g.exchange(r.mark, r.said)
		r.mark = r.mark.Add(drift.Mark)
	}
	if w := r.g.find(tag); w != nil {
		r.said = append(r.said, w.recorded(s)...)
	}
	r.samples++
	r.last = s.At
	if len(r.said) >= batch {
		r.write()
	}
	return r.err == nil
}

func (r *recall) write() {
	if r.err == nil && len(r.said) > 0 {
		r.err = r.d.records.Transition(r.ctx, r.said)
	}
	r.said = r.said[:0]
}

func (r *recall) finish() error {
	r.write()
	if r.err == nil && !r.last.IsZero() {
		r.d.past.Store(&recalled{until: r.last})
	}
	return r.err
}

// recordedUntil returns when the recorded past of the loops ends; zero = none.
func (d *Daemon) recordedUntil() time.Time {
	if r := d.past.Load(); r != nil {
		return r.until
	}
	return time.Time{}
}
