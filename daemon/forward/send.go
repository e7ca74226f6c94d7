package forward

import (
	"bytes"
	"context"
	"errors"
	"time"

	"github.com/cenkalti/backoff/v5"

	"ohmdrift/daemon/records"
)

// send takes batches from the queue to the server until ctx ends.
func (f *Forwarder) send(ctx context.Context) error {
	wait := &backoff.ExponentialBackOff{
		InitialInterval: f.opts.RetryMin, MaxInterval: f.opts.RetryMax,
		Multiplier: 2, RandomizationFactor: 0.5,
	}
	wait.Reset()
	tick := time.NewTicker(f.opts.Spool)
	defer tick.Stop()
	for ctx.Err() == nil {
		more, after, err := f.sendOnce(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			pause(ctx, max(wait.NextBackOff(), after))
		case more:
			wait.Reset()
		default:
			wait.Reset()
			select {
			case <-f.queued:
			case <-tick.C: // what was queued before this start
			case <-ctx.Done():
			}
		}
	}
	return nil
}

// sendOnce sends about one batch. It reports whether it found anything to send,
// and how long the server asked to be left alone.
func (f *Forwarder) sendOnce(ctx context.Context) (more bool, after time.Duration, err error) {
	bs, err := f.queue.NextBatches(ctx, f.opts.Batch)
	if err != nil || len(bs) == 0 {
		f.reportOutage(ctx, err)
		return false, 0, err
	}
	ids, points := make([]int64, len(bs)), 0
	for i, b := range bs {
		ids[i] = b.ID
		points += b.Points
	}
	bad, err := f.deliver(ctx, bs)
	f.reportOutage(ctx, err)
	if err != nil {
		var r *refusal
		errors.As(err, &r)
		return true, r.waitFor(), err
	}
	f.reportBad(bad)
	// What has been taken leaves the queue even if we are stopping.
	if err := f.queue.Settle(context.WithoutCancel(ctx), ids, bad); err != nil {
		f.reportOutage(ctx, err)
		return true, 0, err // sent again later: the same points
	}
	f.tally(func(s *Stats) {
		s.Sent += uint64(max(0, points-len(bad)))
		s.Quarantined += uint64(len(bad))
	})
	return true, 0, nil
}

// deliver writes batches and returns the lines that the server will never take.
// After an error nothing is known: all is sent again.
func (f *Forwarder) deliver(ctx context.Context, bs []records.Batch) ([]records.BadLine, error) {
	s := sieve{f: f, budget: sieveBudget}
	var lines [][]byte
	for _, b := range bs {
		ls, err := unpack(b)
		if err != nil { // the disk has changed it: there is no line to rescue
			s.bad = append(s.bad, records.BadLine{Reason: err.Error()})
			continue
		}
		lines = append(lines, ls...)
	}
	if len(lines) == 0 {
		return s.bad, nil
	}
	err := s.write(ctx, lines)
	return s.bad, err
}

// sieveBudget bounds the calls that one batch with bad lines may cost. A bad
// line among 5,000 takes about 26.
const sieveBudget = 400

// sieve finds bad lines by halving.
type sieve struct {
	f      *Forwarder
	budget int
	bad    []records.BadLine
}

func (s *sieve) write(ctx context.Context, lines [][]byte) error {
	s.budget--
	err := s.f.write(ctx, bytes.Join(lines, nil))
	var r *refusal
	if err == nil || !errors.As(err, &r) || !r.ofContent() {
		return err
	}
	s.f.tally(func(st *Stats) { st.PartialWrites++ })
	switch {
	case len(lines) == 1 || r.dropped == len(lines):
		s.setAside(lines, r.Error())
		return nil
	case s.budget <= 0:
		s.setAside(lines, r.Error()+" (some of these lines, not told apart)")
		return nil
	}
	for _, half := range [][][]byte{lines[:len(lines)/2], lines[len(lines)/2:]} {
		if err := s.write(ctx, half); err != nil {
			return err
		}
	}
	return nil
}

func (s *sieve) setAside(lines [][]byte, why string) {
	for _, l := range lines {
		s.bad = append(s.bad, records.BadLine{Text: string(bytes.TrimSuffix(l, []byte{'\n'})), Reason: why})
	}
}

// write makes one call and counts it.
func (f *Forwarder) write(ctx context.Context, lines []byte) error {
	start := time.Now()
	err := f.server.write(ctx, lines)
	f.tally(func(s *Stats) {
		s.Calls++
		s.LastCall = time.Since(start)
		if err != nil {
			s.FailedCalls++
		}
	})
	return err
}
