package poll

import (
	"bytes"
	"math"
	"time"
)

// freeze finds a loop that repeats its last answer bit for bit: a gateway that
// serves an old value from its cache, or a device that has stopped measuring.
//
// A loop may be quiet and sound: a coarse register and a steady process change
// nothing for hours. So a loop is measured by its own noise. Its changes are
// counted in stretches of at least 64 polls, and the quietest stretch ever seen
// says how often it changes at the least. An answer repeated n times is then
// improbable by (1 − q/2)^n, half of that share for caution; a loop that has
// been silent for a whole stretch before has q near zero and is never called
// frozen by itself.
type freeze struct {
	last     []byte
	run      int       // answers in a row like the last one
	since    time.Time // of the first of them
	longest  int       // longest run that has ended by itself
	polls    int       // in the present stretch
	changes  int
	quietest float64 // least share of changes in a stretch
	learned  int     // stretches
	frozen   bool
	round    int // of the pack in which it was last counted
	cycle    cycleWatch
}

const (
	stretch        = 64
	stretchesAlone = 16 // before a loop is judged by itself
	stretchesPack  = 4  // before it counts among its neighbours
	improbable     = 25 // −ln of the probability at which it is frozen: 1.4e-11
	longestFactor  = 4  // times the longest sound run
	packLeast      = 3  // loops
)

// rate returns the evidence that one more repeated answer adds, as −ln of its
// probability.
func (f *freeze) rate() float64 { return -math.Log1p(-f.quietest / 2) }

// take compares an answer with the one before. It returns whether it is new.
func (f *freeze) take(answer [][]byte, at time.Time) bool {
	if f.same(answer) {
		f.run++
		return false
	}
	f.keep(answer)
	if !f.frozen {
		f.learn()
	}
	f.run, f.since, f.frozen = 0, at, false
	return true
}

func (f *freeze) same(answer [][]byte) bool {
	n := 0
	for _, b := range answer {
		if n+len(b) > len(f.last) || !bytes.Equal(f.last[n:n+len(b)], b) {
			return false
		}
		n += len(b)
	}
	return n > 0 && n == len(f.last)
}

func (f *freeze) keep(answer [][]byte) {
	f.last = f.last[:0]
	for _, b := range answer {
		f.last = append(f.last, b...)
	}
}

// learn adds a run that ended by itself.
func (f *freeze) learn() {
	f.longest = max(f.longest, f.run)
	f.polls += f.run + 1
	f.changes++
	if f.polls < stretch {
		return
	}
	share := float64(f.changes) / float64(f.polls)
	if f.learned == 0 || share < f.quietest {
		f.quietest = share
	}
	f.learned++
	f.polls, f.changes = 0, 0
}

// alone reports whether the loop is frozen by its own noise.
func (f *freeze) alone(now time.Time, renew time.Duration) bool {
	return f.learned >= stretchesAlone && f.run > longestFactor*f.longest &&
		float64(f.run)*f.rate() > improbable && now.Sub(f.since) > 3*renew
}

// cycleWatch follows the device's own counter of measuring cycles, which says
// outright whether the device still measures.
type cycleWatch struct {
	last  float64
	since time.Time
	moved bool
}

// stopped reports whether a counter that used to move has stood still for three
// renewals and three polls.
func (c *cycleWatch) stopped(count float64, at time.Time, renew, interval time.Duration) bool {
	switch {
	case math.IsNaN(count):
		return false
	case count != c.last || c.since.IsZero():
		c.moved = !c.since.IsZero()
		c.last, c.since = count, at
		return false
	}
	return c.moved && at.Sub(c.since) >= max(3*renew, 3*interval)
}

// pack adds up the evidence of all loops of a link: when a gateway repeats old
// values, all loops behind it stand still together, and a few answers of each
// are as good as many of one. It counts the answers since any of them has
// changed, so that one frozen device beside sound ones is no evidence.
type pack struct {
	evidence float64
	loops    int // that have repeated an answer since the last change
	round    int // changes so far
}

// take counts one answer of a loop.
func (p *pack) take(f *freeze, changed bool) {
	if changed {
		p.evidence, p.loops = 0, 0
		p.round++
		return
	}
	if f.learned < stretchesPack || f.quietest == 0 {
		return
	}
	p.evidence += f.rate()
	if f.round != p.round {
		f.round = p.round
		p.loops++
	}
}

// frozen reports whether all loops of the link stand still against their habit.
func (p *pack) frozen() bool { return p.loops >= packLeast && p.evidence > improbable }
