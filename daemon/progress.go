package daemon

import (
	"sync/atomic"
	"time"

	"ohmdrift/diagnostics/presence"
)

// progress counts finished polls for the health answer and the heartbeat, on a
// clock that runs forward whatever is done to the wall clock.
type progress struct {
	began time.Time    // with its monotonic reading
	last  atomic.Int64 // nanoseconds since began, of the last poll; 0 = none yet
	count atomic.Uint64
	rate  rate
}

// now is the present moment on the forward clock.
func (p *progress) now() time.Time { return p.began.Add(time.Since(p.began)) }

// moment is the present on both clocks.
func (p *progress) moment() presence.Moment {
	return presence.Moment{Wall: time.Now(), Mono: p.now()}
}

func (p *progress) polled() {
	p.last.Store(max(1, int64(time.Since(p.began))))
	p.count.Add(1)
}

func (p *progress) lastPoll() time.Time {
	if n := p.last.Load(); n != 0 {
		return p.began.Add(time.Duration(n))
	}
	return time.Time{}
}

// rate is polls a second over the last ten seconds, sampled once a second.
type rate struct {
	perSecond atomic.Uint64 // hundredths
	seen      [11]uint64
	at        int
}

func (r *rate) sample(count uint64) {
	r.seen[r.at%len(r.seen)] = count
	oldest := (r.at + 1) % len(r.seen)
	span := len(r.seen) - 1
	if r.at < span {
		oldest, span = 0, r.at
	}
	if span > 0 {
		r.perSecond.Store((count - r.seen[oldest]) * 100 / uint64(span))
	}
	r.at++
}

func (r *rate) value() float64 { return float64(r.perSecond.Load()) / 100 }
