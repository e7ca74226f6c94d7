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

// Stats counts notices since New.
type Stats struct {
	Delivered uint64
	Refused   uint64 // closed for a permanent error
	Retries   uint64 // attempts that failed and are made again
	Waiting   int    // in the outbox, when it was last looked at
	Problem   string // of the receiver now, empty when good
	Since     time.Time
}

// pace is how a courier waits.
type pace struct {
	poll     time.Duration // how often the outbox is looked at without a wake
	retryMin time.Duration // first pause after a failure
	retryMax time.Duration // longest pause
}

// courier takes one sink's notices from the outbox.
type courier struct {
	sink   Sink
	outbox Outbox
	pace   pace
	log    zerolog.Logger
	wake   chan struct{}

	failing map[int64]bool // notices to be tried again, 0 for the outbox itself; run's
	away    int            // consecutive attempts at a receiver that is away; run's

	mu    sync.Mutex
	stats Stats
}

func newCourier(s Sink, b Outbox, p pace, log zerolog.Logger) *courier {
	return &courier{sink: s, outbox: b, pace: p, log: log, wake: make(chan struct{}, 1), failing: map[int64]bool{}}
}

func (n *courier) nudge() {
	select {
	case n.wake <- struct{}{}:
	default:
	}
}

func (n *courier) counted() Stats {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.stats
}

// at most so many loops a look; the next look follows at once.
const perLook = 100

// run delivers until ctx ends, and then what is due once more, unless the
// receiver is in trouble.
func (n *courier) run(ctx context.Context) error {
	defer n.farewell(ctx)
	tick := time.NewTicker(n.pace.poll)
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

// farewell bounds the last delivery at stop.
const farewell = 3 * time.Second

func (n *courier) farewell(ended context.Context) {
	if len(n.failing) > 0 {
		return // it waits for the next start
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ended), farewell)
	defer cancel()
	for again := true; again && len(n.failing) == 0; {
		again, _ = n.look(ctx)
	}
}

// look delivers what is due. It reports whether something was closed, so that
// the loops concerned may have more, and how long to leave the receiver alone.
func (n *courier) look(ctx context.Context) (again bool, pause time.Duration) {
	defer n.count(ctx)
	ms, err := n.outbox.DueMessages(ctx, n.sink.Name(), time.Now(), perLook)
	if err != nil {
		n.trouble(ctx, 0, err)
		return false, n.pace.retryMin
	}
	for i := range ms {
		err := n.sink.Send(ctx, &ms[i])
		if err != nil && ctx.Err() != nil {
			return false, 0
		}
		// What has been delivered is written down even if we are stopping.
		closed, away, err := n.settle(context.WithoutCancel(ctx), &ms[i], err)
		if err != nil {
			n.trouble(ctx, 0, err)
			return false, n.pace.retryMin
		}
		if away > 0 {
			return false, away
		}
		again = again || closed
	}
	n.well(0)
	return again, 0
}

func (n *courier) count(ctx context.Context) {
	if w, err := n.outbox.WaitingMessages(ctx, n.sink.Name()); err == nil {
		n.tally(func(s *Stats) { s.Waiting = w })
	}
}

// settle writes down what became of a notice: closed or not, and how long the
// whole receiver is to be left alone.
func (n *courier) settle(ctx context.Context, m *records.Message, sent error) (closed bool, away time.Duration, err error) {
	var f *Failure
	if !errors.As(sent, &f) {
		f = &Failure{Cause: sent}
	}
	if !f.Away {
		n.away = 0
	}
	switch {
	case sent == nil:
		err := n.outbox.MessageDelivered(ctx, m.ID)
		n.tally(func(s *Stats) { s.Delivered++ })
		n.well(m.ID)
		return err == nil, 0, err
	case f.Permanent:
		err := n.outbox.MessageRefused(ctx, m.ID, sent.Error())
		n.tally(func(s *Stats) { s.Refused++ })
		n.log.Error().Str("sink", m.Sink).Str("loop", m.Loop).Str("key", m.Key).Err(sent).
			Msg("a notice was refused for good; it is not tried again")
		n.well(m.ID)
		return err == nil, 0, err
	}
	n.tally(func(s *Stats) { s.Retries++ })
	n.trouble(ctx, m.ID, sent)
	attempts := m.Attempts
	if f.Away {
		attempts = n.away
		n.away++
	}
	wait := max(n.backoff(attempts), f.After)
	if f.Away {
		away = wait
	}
	return false, away, n.outbox.MessageRetry(ctx, m.ID, time.Now().Add(wait), sent.Error())
}

// backoff is the pause after so many failed attempts, doubling, with jitter.
func (n *courier) backoff(attempts int) time.Duration {
	b := backoff.ExponentialBackOff{
		InitialInterval: n.pace.retryMin, MaxInterval: n.pace.retryMax,
		Multiplier: 2, RandomizationFactor: 0.3,
	}
	b.Reset()
	d := b.NextBackOff()
	for range min(attempts, 30) {
		d = b.NextBackOff()
	}
	return d
}

func (n *courier) tally(do func(*Stats)) {
	n.mu.Lock()
	defer n.mu.Unlock()
	do(&n.stats)
}

// trouble logs the problem of a notice when it starts and when it changes.
func (n *courier) trouble(ctx context.Context, id int64, err error) {
	if ctx.Err() != nil {
		return // we are stopping; that says nothing about the receiver
	}
	n.failing[id] = true
	news := false
	n.tally(func(s *Stats) {
		news = s.Problem != err.Error()
		if s.Problem == "" {
			s.Since = time.Now()
		}
		s.Problem = err.Error()
	})
	if news {
		n.log.Error().Err(err).Str("sink", n.sink.Name()).Msg("notices are not delivered; they wait in the outbox")
	}
}

// well says that a notice has no problem any more, and logs the end of the last.
func (n *courier) well(id int64) {
	if !n.failing[id] {
		return
	}
	delete(n.failing, id)
	if len(n.failing) > 0 {
		return
	}
	var since time.Time
	n.tally(func(s *Stats) {
		since = s.Since
		s.Problem, s.Since = "", time.Time{}
	})
	n.log.Info().Str("sink", n.sink.Name()).Dur("outage_ms", time.Since(since)).Msg("notices are delivered again")
}
