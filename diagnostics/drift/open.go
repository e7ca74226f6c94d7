package drift

import (
	"fmt"
	"math"
	"slices"

	"ohmdrift/diagnostics/finding"
)

// openState follows samples in which a lead or the sensor circuit is open.
type openState struct {
	Since  int64            // of the first such sample in a row; 0 = none
	N      uint16           // samples in a row
	Lead   [channels]uint16 // of them, with this channel open; at ofSensor samples in a row without any value, where at most one lead value is reported
	Well   uint16           // samples in a row without, while a finding stands
	WellAt int64
	Mute   [channels]uint16 // samples in a row in which this channel alone has no value
}

const (
	openSamples = 3     // in a row: two bad telegrams may follow each other
	openShort   = 60    // s at least: a contact that bounces is no open lead
	openSlow    = 1700  // interval in s from which two samples are enough: they are an hour of silence
	wellTime    = hourS // without an open circuit before it counts as closed
	// emptyPolls and emptyFor: where no lead is reported by itself, a device that
	// writes nothing when its sensor breaks looks like a telegram without content.
	// Those come by ones and twos; six hours of them are no accident.
	emptyPolls = 24
	emptyFor   = 6 * hourS
)

// watchOpen judges one sample. A lead is open when its value is gone or at the
// end of its range while the sensor value is gone or at the end of the curve and
// another lead still answers: a lost telegram takes all of them.
func (e *Engine) watchOpen(l *look, out []finding.Finding) []finding.Finding {
	o := &e.s.Open
	dead := l.over || l.gone
	switch empty := !l.over && l.valid == 0; {
	case dead && empty && e.m.n <= 1:
		return e.empty(out)
	case !dead && !empty && e.mute(l):
		return e.silent(out)
	case !dead, empty:
		return e.closed(l, out)
	}
	if o.N == 0 {
		*o = openState{Since: e.s.Last}
	}
	o.N++
	o.Well = 0
	for k := range e.m.n {
		if l.absent[k] || l.high[k] {
			o.Lead[k]++
		}
	}
	need := uint16(openSamples)
	if e.s.Step > openSlow {
		need = 2
	}
	if o.N < need || e.s.Last-o.Since < openShort {
		return out
	}
	c := claim{kind: finding.LeadOpen, severity: finding.Failure, since: o.Since, contact: math.NaN(), sure: 0.99}
	who := "no lead stands out"
	for k := range e.m.n {
		if o.Lead[k]*2 > o.N && l.valid > 0 {
			c.leads |= e.m.ch[k].named
			who = e.m.name(k) + " has no value, or one at the end of its range"
		}
	}
	c.evidence = fmt.Sprintf("no current through the element in %d polls in a row since %s (called from %d); %s", o.N, clock(o.Since), need, who)
	return e.raise(aboutOpen, e.s.Last, &c, out)
}

// mute counts samples in which a channel has no value while the loop measures, and
// tells whether one is without for so long that it is no accident.
func (e *Engine) mute(l *look) (long bool) {
	for k := range e.m.n {
		n := &e.s.Open.Mute[k]
		if !l.absent[k] && !l.high[k] || e.s.Ch[k].Base == 0 {
			*n = 0
			continue
		}
		*n = min(*n+1, math.MaxUint16-1)
		long = long || e.muteFor(k)
	}
	return long
}

// muteFor tells whether channel k is without a value for long.
func (e *Engine) muteFor(k int) bool {
	n := e.s.Open.Mute[k]
	return n >= emptyPolls && float64(n)*float64(e.s.Step) >= emptyFor
}

// silent tells of leads without a value in a loop that measures: there are inputs
// that go on without a lead, uncompensated, and say so nowhere else.
func (e *Engine) silent(out []finding.Finding) []finding.Finding {
	e.s.Open.Well = 0
	c := claim{kind: finding.LeadOpen, severity: finding.Failure, since: math.MaxInt64, contact: math.NaN(), sure: 0.8}
	who := ""
	for k := range e.m.n {
		if e.muteFor(k) {
			c.leads |= e.m.ch[k].named
			c.since = min(c.since, e.s.Last-int64(float64(e.s.Open.Mute[k])*float64(e.s.Step)))
			who = e.m.name(k)
		}
	}
	c.evidence = fmt.Sprintf("%s has no value, or one at the end of its range, since %s (called from %d polls in %d h), while the loop shows a temperature: it is open, and the input goes on without it", who, clock(c.since), emptyPolls, emptyFor/hourS)
	return e.raise(aboutOpen, e.s.Last, &c, out)
}

// empty takes a sample of a device that answers and has no value.
func (e *Engine) empty(out []finding.Finding) []finding.Finding {
	o := &e.s.Open
	n := &o.Lead[ofSensor]
	if *n == 0 {
		*o = openState{Since: e.s.Last}
	}
	*n = min(*n+1, math.MaxUint16-1)
	if *n < emptyPolls || e.s.Last-o.Since < emptyFor || e.s.Copper.Blocks == 0 { // it never had one
		return out
	}
	c := claim{kind: finding.LeadOpen, severity: finding.Failure, since: o.Since, contact: math.NaN(), sure: 0.8}
	c.evidence = fmt.Sprintf("the device answered %d polls in a row since %s without any value (called from %d in %d h): no current through the element, or a device that is unwell; no lead stands out",
		*n, clock(o.Since), emptyPolls, emptyFor/hourS)
	return e.raise(aboutOpen, e.s.Last, &c, out)
}

// closed takes a sample without an open circuit.
func (e *Engine) closed(l *look, out []finding.Finding) []finding.Finding {
	o := &e.s.Open
	o.N, o.Lead[ofSensor] = 0, 0
	if e.s.Found[aboutOpen].Kind == 0 || math.IsNaN(l.sensor) {
		return out // nothing stands, or an empty telegram: unknown is not good
	}
	if n := slices.Max(o.Mute[:]); n > 0 {
		if n >= openSamples { // more than bad telegrams: it was not closed for good
			o.Well = 0
		}
		return out
	}
	if o.Well == 0 {
		o.WellAt = e.s.Last
	}
	if o.Well++; o.Well >= openSamples && e.s.Last-o.WellAt >= wellTime {
		out = e.clear(aboutOpen, e.s.Last, "the circuit is closed again since "+clock(o.WellAt), out)
		o.Well = 0
	}
	return out
}
