package forward

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"time"

	"ohmdrift/daemon/records"
)

// spool moves points from memory to the queue until ctx ends, and the rest then.
func (f *Forwarder) spool(ctx context.Context) error {
	tick := time.NewTicker(f.opts.Spool)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-f.full:
		case <-ctx.Done():
			f.spoolAll(context.WithoutCancel(ctx))
			return nil
		}
		f.spoolAll(ctx)
	}
}

func (f *Forwarder) spoolAll(ctx context.Context) {
	for {
		c, ok := f.buffer.take()
		if !ok {
			return
		}
		err := f.enqueue(ctx, c)
		if err != nil {
			f.buffer.back(c)
		}
		if f.spoolState.became(err) {
			f.logSpool(err)
		}
		if err != nil {
			f.tally(func(s *Stats) { s.SpoolFailures++ })
			return
		}
		f.buffer.done(c)
		signal(f.queued)
	}
}

func (f *Forwarder) logSpool(err error) {
	if err == nil {
		f.opts.Log.Info().Msg("results are queued again")
		return
	}
	f.opts.Log.Error().Err(err).Msg("results cannot be queued; they wait in memory, the oldest are dropped; is the disk full?")
}

// enqueue writes one chunk to the queue.
func (f *Forwarder) enqueue(ctx context.Context, c chunk) error {
	body, err := f.pack(c.lines)
	if err != nil {
		return err
	}
	if err := f.queue.Enqueue(ctx, body, c.points); err != nil {
		return err
	}
	f.tally(func(s *Stats) { s.Queued += uint64(c.points) })
	if err := f.bound(ctx); err != nil { // the points are safe; the next chunk comes here again
		f.tally(func(s *Stats) { s.SpoolFailures++ })
	}
	return nil
}

// bound keeps the queue within its bounds by dropping the oldest.
func (f *Forwarder) bound(ctx context.Context) error {
	size, err := f.queue.QueueSize(ctx)
	if err != nil {
		return err
	}
	oldest := time.Now().Add(-f.opts.MaxAge)
	if size.Bytes <= f.opts.MaxBytes && !(size.Batches > 0 && size.Oldest.Before(oldest)) {
		f.tally(func(s *Stats) { s.size(size) })
		f.reportBound(size, 0)
		return nil
	}
	dropped, err := f.queue.Bound(ctx, f.opts.MaxBytes, oldest)
	if err != nil {
		return err
	}
	f.tally(func(s *Stats) { s.DroppedQueue += uint64(dropped) })
	f.reportBound(size, dropped)
	return nil
}

// reportBound logs when the queue begins to drop, and when it is half empty
// again.
func (f *Forwarder) reportBound(size records.QueueSize, dropped int64) {
	switch {
	case dropped > 0 && !f.dropping:
		f.dropping = true
		f.opts.Log.Error().Int64("points", dropped).Int64("bound_bytes", f.opts.MaxBytes).Str("bound_age", f.opts.MaxAge.String()).
			Msg("the queue to the time-series server is at its bound; the oldest results are dropped")
	case dropped == 0 && f.dropping && size.Bytes < f.opts.MaxBytes/2 && time.Since(size.Oldest) < f.opts.MaxAge/2:
		f.dropping = false
		f.opts.Log.Info().Uint64("dropped_points", f.Stats().DroppedQueue).Msg("the queue to the time-series server has room again")
	}
}

// pack compresses lines: an outage then fits five times longer into the bound.
func (f *Forwarder) pack(lines []byte) ([]byte, error) {
	var b bytes.Buffer
	f.zip.Reset(&b)
	if _, err := f.zip.Write(lines); err != nil {
		return nil, err
	}
	if err := f.zip.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// unpack returns the lines of a batch, each with its line feed.
func unpack(b records.Batch) ([][]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(b.Body))
	if err != nil {
		return nil, fmt.Errorf("batch %d of the forward queue: %w", b.ID, err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("batch %d of the forward queue: %w", b.ID, err)
	}
	lines := bytes.SplitAfter(text, []byte{'\n'})
	return lines[:len(lines)-1], nil // what follows the last line feed is empty
}
