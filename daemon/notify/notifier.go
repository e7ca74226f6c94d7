package notify

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"
	"github.com/rs/zerolog"

	"ohmdrift/daemon/records"
)

// Outbox is where notices wait; records.Store is one.
type Outbox interface {
	DueMessages(ctx context.Context, sink string, now time.Time, limit int) ([]records.Message, error)
	WaitingMessages(ctx context.Context, sink string) (int, error)
	MessageDelivered(ctx context.Context, id int64) error
	MessageRefused(ctx context.Context, id int64, why string) error
	MessageRetry(ctx context.Context, id int64, due time.Time, why string) error
}

// Sink is a kind of receiver.
type Sink interface {
	Name() string // as the outbox knows it
	// Send delivers one notice. A *Failure says more than any other error does.
	Send(ctx context.Context, m *records.Message) error
}

// Failure is why a notice was not taken.
type Failure struct {
	Permanent bool          // no further attempt can help
	Away      bool          // the receiver itself is not there: spare it the other notices too
	After     time.Duration // it asked not to be tried again before
	Cause     error
}

// Error is the cause.
func (f *Failure) Error() string { return f.Cause.Error() }

// Unwrap returns the cause.
func (f *Failure) Unwrap() error { return f.Cause }

// Options tune a Notifier.
type Options struct {
	Poll     time.Duration // how often the outbox is looked at without a Wake; 0 = 1 s
	RetryMin time.Duration // first pause after a failure; 0 = 1 s
	RetryMax time.Duration // longest pause; 0 = 5 min
	Log      zerolog.Logger
}

// Stats counts notices since New.
type Stats struct {
	Delivered uint64
	Refused   uint64 // closed for a permanent error
	Retries   uint64 // attempts that failed and are made again
	Waiting   int    // in the outbox, when it was last looked at
	Problem   string // of the receiver now, empty when good
	Since     time.Time
}

// Notifier takes one sink's notices from the outbox. Run it.
type Notifier struct {
	sink   Sink
	outbox Outbox
	opts   Options
	wake   chan struct{}

	mu    sync.Mutex
	stats Stats
}

// New makes a notifier.
func New(s Sink, b Outbox, o Options) *Notifier {
	if o.Poll <= 0 {
		o.Poll = time.Second
	}
	if o.RetryMin <= 0 {
		o.RetryMin = time.Second
	}
	if o.RetryMax <= 0 {
		o.RetryMax = 5 * time.Minute
	}
	return &Notifier{sink: s, outbox: b, opts: o, wake: make(chan struct{}, 1)}
}

// Wake says that there is something new in the outbox. It never blocks.
func (n *Notifier) Wake() {
	select {
	case n.wake <- struct{}{}:
	default:
	}
}

// Stats returns the counters.
func (n *Notifier) Stats() Stats {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.stats
}

// at most so many loops a look; the next look follows at once.
const perLook = 100

// Run delivers until ctx ends. A notice under way then is delivered again by
// the next start, with the same key.
func (n *Notifier) Run(ctx context.Context) error {
	tick := time.NewTicker(n.opts.Poll)
	defer tick.Stop()
	for {
		again, pause := n.look(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case again:
			continue
		case pause > 0:
			t := time.NewTimer(pause)
			select {
			case <-t.C:
			case <-ctx.Done():
			}
			t.Stop()
			continue
		}
		select {
		case <-n.wake:
		case <-tick.C:
		case <-ctx.Done():
		}
	}
}

// look delivers what is due. It reports whether something was closed, so that
// the loops concerned may have more, and how long to leave the receiver alone.
func (n *Notifier) look(ctx context.Context) (again bool, pause time.Duration) {
	ms, err := n.outbox.DueMessages(ctx, n.sink.Name(), time.Now(), perLook)
	if err != nil {
		n.trouble(ctx, err)
		return false, n.opts.RetryMin
	}
	for i := range ms {
		err := n.sink.Send(ctx, &ms[i])
		if ctx.Err() != nil {
			return false, 0
		}
		closed, away, err := n.settle(ctx, &ms[i], err)
		if err != nil {
			n.trouble(ctx, err)
			return false, n.opts.RetryMin
		}
		if away > 0 {
			n.count(ctx)
			return false, away
		}
		again = again || closed
	}
	n.count(ctx)
	return again, 0
}

func (n *Notifier) count(ctx context.Context) {
	if w, err := n.outbox.WaitingMessages(ctx, n.sink.Name()); err == nil {
		n.tally(func(s *Stats) { s.Waiting = w })
	}
}

// settle writes down what became of a notice: closed or not, and how long the
// whole receiver is to be left alone.
func (n *Notifier) settle(ctx context.Context, m *records.Message, sent error) (closed bool, away time.Duration, err error) {
	if sent == nil {
		n.tally(func(s *Stats) { s.Delivered++ })
		n.well()
		return true, 0, n.outbox.MessageDelivered(ctx, m.ID)
	}
	var f *Failure
	if !errors.As(sent, &f) {
		f = &Failure{Cause: sent}
	}
	if f.Permanent {
		n.tally(func(s *Stats) { s.Refused++ })
		n.opts.Log.Error().Str("sink", m.Sink).Str("loop", m.Loop).Str("key", m.Key).Err(sent).
			Msg("a notice was refused for good; it is not tried again")
		return true, 0, n.outbox.MessageRefused(ctx, m.ID, sent.Error())
	}
	n.tally(func(s *Stats) { s.Retries++ })
	n.trouble(ctx, sent)
	wait := max(n.backoff(m.Attempts), f.After)
	if f.Away {
		away = wait
	}
	return false, away, n.outbox.MessageRetry(ctx, m.ID, time.Now().Add(wait), sent.Error())
}

// backoff is the pause after so many failed attempts, doubling, with jitter.
func (n *Notifier) backoff(attempts int) time.Duration {
	b := backoff.ExponentialBackOff{
		InitialInterval: n.opts.RetryMin, MaxInterval: n.opts.RetryMax,
		Multiplier: 2, RandomizationFactor: 0.3,
	}
	b.Reset()
	d := b.NextBackOff()
	for range min(attempts, 30) {
		d = b.NextBackOff()
	}
	return d
}

func (n *Notifier) tally(do func(*Stats)) {
	n.mu.Lock()
	defer n.mu.Unlock()
	do(&n.stats)
}

// trouble logs a problem when it starts and when it changes.
func (n *Notifier) trouble(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	news := false
	n.tally(func(s *Stats) {
		news = s.Problem != err.Error()
		if s.Problem == "" {
			s.Since = time.Now()
		}
		s.Problem = err.Error()
	})
	if news {
		n.opts.Log.Error().Err(err).Str("sink", n.sink.Name()).Msg("notices are not delivered; they wait in the outbox")
	}
}

// well logs the end of a problem.
func (n *Notifier) well() {
	var was string
	var since time.Time
	n.tally(func(s *Stats) {
		was, since = s.Problem, s.Since
		s.Problem, s.Since = "", time.Time{}
	})
	if was != "" {
		n.opts.Log.Info().Str("sink", n.sink.Name()).Dur("outage_ms", time.Since(since)).Msg("notices are delivered again")
	}
}
