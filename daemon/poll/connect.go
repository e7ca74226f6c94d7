package poll

import (
	"context"
	"time"

	"github.com/cenkalti/backoff/v5"

	"ohmdrift/devices"
)

// dialer opens the link's connection beside the schedule, so that slots pass in
// time, with bad quality, while a host does not answer. At most one attempt
// runs; its owner is the runner, which waits for it.
type dialer struct {
	r       *runner
	done    chan dialled // one attempt, one result
	busy    bool
	cancel  context.CancelFunc
	release func() bool // takes back the interrupt of the open connection
	at      time.Time   // no attempt before
	back    *backoff.ExponentialBackOff
	path    int
	problem string // why the link is down; empty while up or never tried
	proven  bool   // the open connection has answered
	hopeful bool   // the present attempt is the first, or follows a good time: worth waiting for
	repeats int    // attempts that failed alike, not logged
}

type dialled struct {
	conn *devices.Conn
	err  error
}

func newDialer(r *runner) dialer {
	b := backoff.NewExponentialBackOff()
	// The library draws from interval ± factor·interval: full jitter up to 60 s.
	b.InitialInterval, b.MaxInterval, b.Multiplier, b.RandomizationFactor = time.Second, 30*time.Second, 2, 1
	return dialer{r: r, done: make(chan dialled, 1), back: b, problem: "not connected yet", hopeful: true}
}

// step starts an attempt when one is due.
func (d *dialer) step(ctx context.Context) {
	now := time.Now()
	if d.r.conn != nil || d.busy || now.Before(d.at) || len(d.r.queue) == 0 || d.r.quiet(now) {
		return
	}
	ctx, d.cancel = context.WithCancel(ctx)
	d.busy = true
	d.r.stats.dials.Add(1)
	host, cfg, path := d.r.host, d.r.cfg, d.path
	go func() {
		if err := host.dials.Wait(ctx); err != nil {
			d.done <- dialled{nil, err}
			return
		}
		c, err := host.dial(ctx, cfg, path)
		d.done <- dialled{c, err}
	}()
}

// next returns when an attempt is due, zero for none.
func (d *dialer) next() time.Time {
	if d.r.conn != nil || d.busy || len(d.r.queue) == 0 {
		return time.Time{}
	}
	if now := time.Now(); d.r.quiet(now) {
		return now.Add(time.Second)
	}
	return d.at
}

// finished takes the result of an attempt.
func (d *dialer) finished(ctx context.Context, res dialled) {
	d.busy = false
	d.cancel()
	d.hopeful = false
	if res.err != nil {
		d.r.stats.dialErrors.Add(1)
		if ctx.Err() == nil {
			d.down(res.err.Error())
		}
		return
	}
	d.r.conn, d.proven = res.conn, false
	d.release = context.AfterFunc(ctx, res.conn.Interrupt)
	d.r.stats.up.Store(true)
	d.r.stats.path.Store(int32(d.path))
	d.r.log.Info().Str("address", res.conn.Address()).Int("path", d.path).Int("failed_attempts", d.repeats).Msg("link connected")
	d.repeats = 0
}

// down notes why there is no connection and when to try again, on the other
// path where there is one.
func (d *dialer) down(problem string) {
	if problem != d.problem {
		d.r.log.Warn().Str("problem", problem).Msg("link down")
		d.repeats = 0
	}
	d.repeats++
	d.problem = problem
	d.at = time.Now().Add(max(time.Second, d.back.NextBackOff()))
	d.otherPath()
}

// otherPath turns to the second gateway. The first turn after a good time is
// made at once.
func (d *dialer) otherPath() {
	if d.r.cfg.Second == "" {
		return
	}
	d.path ^= 1
	if d.proven {
		d.at, d.hopeful = time.Now(), true
	}
	d.proven = false
}

// answered notes that the connection works: the next failure begins with short
// waits again.
func (d *dialer) answered() {
	if !d.proven {
		d.proven = true
		d.problem = ""
		d.back.Reset()
	}
}

// reopen closes a connection that is no good any more.
func (d *dialer) reopen(why Reason, problem string) {
	d.r.stats.reopens[why].Add(1)
	d.release()
	d.r.hangUp()
	d.r.stats.up.Store(false)
	again := d.proven
	d.down(problem)
	if again { // a connection that worked: gateways drop idle clients, so try at once
		d.at, d.hopeful = time.Now(), true
	}
}

// stop ends an attempt that runs and waits for it.
func (d *dialer) stop() {
	if d.release != nil {
		d.release()
	}
	if !d.busy {
		return
	}
	d.cancel()
	if res := <-d.done; res.conn != nil {
		res.conn.Close()
	}
	d.busy = false
}

// silence follows requests that nobody answered since the last answer of any
// unit.
type silence struct {
	timeouts int
	since    time.Time // start of the first
	first    uint8     // its unit
	several  bool      // more than one unit was silent
	busyTill time.Time // until then the gateway may still wait for a unit that is dead
}

// timedOut counts a request that began at start and reports whether the link is
// to blame: several units have fallen silent together, or its only unit has,
// for long enough that a gateway cannot merely be waiting for one of them. On a
// connection that has not answered yet it takes one request less.
func (s *silence) timedOut(unit uint8, units int, proven bool, start, now time.Time, timeout time.Duration) bool {
	if s.timeouts == 0 {
		s.first, s.since = unit, start
	}
	s.several = s.several || unit != s.first
	s.timeouts++
	s.busyTill = start.Add(timeout)
	limit := 3
	if !proven || units == 1 {
		limit = 2
	}
	return s.timeouts >= limit && (s.several || units == 1) && now.Sub(s.since) >= 2*timeout
}
