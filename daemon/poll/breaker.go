package poll

import (
	"math/rand/v2"
	"time"
)

// breaker keeps a dead unit from costing its neighbours bus time. Closed it
// lets every poll through. After some failures in a row it opens: its slots
// pass without a request, and only now and then one goes out as a probe, ever
// more rarely.
//
// It is a value without a clock: time comes with each call.
type breaker struct {
	known bool // the unit has answered since the link was planned
	fails int  // in a row
	wait  time.Duration
	next  time.Time // of the next probe, while open
}

const (
	failsToOpen = 3 // of a unit that has answered before
	firstWait   = time.Second
	longestWait = 60 * time.Second
)

// open reports whether the unit counts as dead.
func (b *breaker) open() bool { return b.wait > 0 }

// suspect reports whether the next request may meet a dead unit, so that it
// should not wait for long.
func (b *breaker) suspect() bool { return !b.known || b.fails > 0 }

// allow reports whether a request may go out at now.
func (b *breaker) allow(now time.Time) bool { return b.wait == 0 || !now.Before(b.next) }

// good closes the breaker.
func (b *breaker) good() { *b = breaker{known: true} }

// fail counts a failure and opens the breaker, or doubles the time to the next
// probe. Jitter keeps the units of a dead gateway apart.
func (b *breaker) fail(now time.Time) {
	b.fails++
	if b.known && b.fails < failsToOpen {
		return
	}
	b.wait = min(max(2*b.wait, firstWait), longestWait)
	b.next = now.Add(b.wait/2 + rand.N(b.wait))
}

// forgive forgets the failures that a dead link explains.
func (b *breaker) forgive() { b.fails, b.wait = 0, 0 }

// state returns 0 closed, 1 suspect, 2 open, the number used in metrics.
func (b *breaker) state() int32 {
	switch {
	case b.open():
		return 2
	case b.fails > 0:
		return 1
	}
	return 0
}

// budget is the bus time that may go to dead units and to work mode: a share of
// all time, saved up to a limit.
type budget struct {
	credit time.Duration
	last   time.Time
}

const (
	probeShare = 0.05        // of bus time
	savings    = time.Second // as much as 20 s of link time earn
)

// may reports whether something may be spent at now. What a probe costs is
// known only afterwards, so the credit may fall below zero and is earned back.
func (b *budget) may(now time.Time) bool {
	if b.last.IsZero() {
		b.credit = savings
	} else {
		b.credit = min(savings, b.credit+time.Duration(probeShare*float64(now.Sub(b.last))))
	}
	b.last = now
	return b.credit > 0
}

func (b *budget) spend(d time.Duration) { b.credit -= d }

// wait returns how long it takes to earn back what was overspent.
func (b *budget) wait() time.Duration {
	return time.Millisecond + time.Duration(float64(max(-b.credit, 0))/probeShare)
}
