package poll

import "time"

// politeness makes a link that is not ours alone give way: when answers take
// much longer than they used to, someone else needs the line or its gateway is
// overrun, and every second, fourth or eighth slot must do until answers are
// quick again.
type politeness struct {
	every     int           // every n-th slot is polled; 0 and 1 = all
	usual     time.Duration // slow average of the round trip
	now       time.Duration // fast average
	seen      int           // answers
	unchanged int           // answers since every changed
}

const (
	problemYield   = "answers of this shared line have slowed down; polling less often"
	politeAfter    = 32 // answers before an average counts
	politeSettle   = 16 // answers between two changes
	politeSlow     = 2.0
	politeQuick    = 1.3
	politeLeast    = 10 * time.Millisecond // below this nobody is being disturbed
	politeRarest   = 8
	politeFastPart = 8
	politeSlowPart = 512
)

// observe takes the round trip of an answer.
func (p *politeness) observe(took time.Duration, soleMaster bool) {
	if soleMaster {
		return
	}
	p.seen++
	if p.seen <= politeAfter {
		p.usual += (took - p.usual) / time.Duration(p.seen)
		p.now = p.usual
		return
	}
	p.now += (took - p.now) / politeFastPart
	p.unchanged++
	if p.unchanged < politeSettle {
		return
	}
	switch {
	case p.now > politeLeast && float64(p.now) > politeSlow*float64(p.usual) && p.every < politeRarest:
		p.every, p.unchanged = max(2, 2*p.every), 0
	case float64(p.now) < politeQuick*float64(p.usual) && p.every > 1:
		p.every, p.unchanged = p.every/2, 0
	}
	if p.every <= 1 { // what is usual is learned while all is well, not from the slow time
		p.usual += (took - p.usual) / politeSlowPart
	}
}

// yields reports whether the job gives this slot up. It does not count: served
// does.
func (p *politeness) yields(j *job) bool { return p.every > 1 && (j.turn+1)%p.every != 0 }
