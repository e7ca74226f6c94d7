package forward

import (
	"context"
	"errors"
	"regexp"
	"time"

	"ohmdrift/daemon/records"
)

// Stats counts points since New, and says how the server is.
type Stats struct {
	Added         uint64 // by Add
	Queued        uint64 // written to the queue
	Sent          uint64 // taken by the server
	Quarantined   uint64 // refused for what they say
	DroppedBuffer uint64 // memory was full because the queue refused
	DroppedQueue  uint64 // the queue was at its bound; what was on its way at that moment may have arrived all the same

	Calls         uint64 // of the write API
	FailedCalls   uint64
	PartialWrites uint64 // calls refused for some of their lines
	SpoolFailures uint64 // the queue refused

	InMemory      int // points not in the queue yet
	QueuedBatches int64
	QueuedPoints  int64
	QueuedBytes   int64
	Oldest        time.Time // of the queue, zero when empty
	LastCall      time.Duration
	Problem       string    // of the server now, empty when good
	Since         time.Time // of the problem
}

func (s *Stats) size(q records.QueueSize) {
	s.QueuedBatches, s.QueuedPoints, s.QueuedBytes, s.Oldest = q.Batches, q.Points, q.Bytes, q.Oldest
}

func (f *Forwarder) tally(do func(*Stats)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	do(&f.stats)
}

// Stats returns the counters; the size of the queue is read from it, after
// them, so that no point counts as sent and still waits.
func (f *Forwarder) Stats() Stats {
	f.mu.Lock()
	s := f.stats
	f.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	if size, err := f.queue.QueueSize(ctx); err == nil {
		s.size(size)
		f.tally(func(now *Stats) { now.size(size) }) // for when the queue refuses
	}
	s.Added, s.DroppedBuffer, s.InMemory = f.buffer.state()
	return s
}

// state remembers a problem, so that it is logged when it starts, changes and
// ends, and not in between.
type state struct{ problem string }

var particulars = regexp.MustCompile(`"[^"]*"|'[^']*'|\d+`)

// became takes the present error and reports whether that is news. Numbers and
// quoted names do not make it news, nor does the way in which a server is away.
func (s *state) became(err error) bool {
	kind := ""
	if away := (*noAnswer)(nil); errors.As(err, &away) {
		kind = "no answer"
	} else if err != nil {
		kind = particulars.ReplaceAllString(err.Error(), "…")
	}
	if kind == s.problem {
		return false
	}
	s.problem = kind
	return true
}

// reportOutage says in stats and log how the server is.
func (f *Forwarder) reportOutage(ctx context.Context, err error) {
	if err != nil && ctx.Err() != nil {
		return // we are stopping; that says nothing about the server
	}
	news := f.outage.became(err)
	var since time.Time
	f.tally(func(s *Stats) {
		since = s.Since
		switch {
		case err == nil:
			s.Problem, s.Since = "", time.Time{}
		case s.Problem == "":
			s.Since = time.Now()
			fallthrough
		default:
			s.Problem = err.Error()
		}
	})
	if !news {
		return
	}
	if err == nil {
		f.opts.Log.Info().Dur("outage_ms", time.Since(since)).Msg("results reach the time-series server again")
		return
	}
	advice := "is it running and reachable? results wait in the queue"
	if r := (*refusal)(nil); errors.As(err, &r) {
		advice = r.advice()
	}
	f.opts.Log.Error().Err(err).Str("url", f.name).Str("bucket", f.opts.Bucket).Str("advice", advice).
		Msg("results do not reach the time-series server")
}

// reportBad logs quarantine when it starts, changes and ends.
func (f *Forwarder) reportBad(bad []records.BadLine) {
	var err error
	if len(bad) > 0 {
		err = errors.New(bad[0].Reason)
	}
	if !f.bad.became(err) {
		return
	}
	if err == nil {
		f.opts.Log.Info().Msg("the time-series server takes every line again")
		return
	}
	f.opts.Log.Error().Err(err).Int("lines", len(bad)).Str("first_line", bad[0].Text).
		Msg("the time-series server refuses lines for what they say; they are kept in quarantine, the others are stored")
}
