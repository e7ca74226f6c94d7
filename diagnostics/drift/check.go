package drift

import (
	"time"

	"ohmdrift/diagnostics/finding"
)

// A function check (NE 107) is the time in which somebody works at a loop: what its
// values do is the hand's doing. Nothing is judged, learnt or counted from them; what
// stood goes on standing. Its end is told by the journal, or comes by itself when its
// time is over: an engine that waits for a word that is never said would be deaf.
//
// After the end nothing need be said of what was done. For the engine there was a gap
// in the values, as an outage makes it, and the rules for changes over a gap tell
// another cable, a contact made good, a step or leads that traded places.

// checkLongest is how long a function check lasts at most: nobody works at the
// terminals of one loop for longer than a day.
const checkLongest = 24 * time.Hour

// Check begins a function check that ends by itself at until, or goes on with one
// that is on until then.
func (e *Engine) Check(from, until time.Time) {
	if last := from.Add(checkLongest); until.After(last) {
		until = last
	}
	e.s.Last = max(e.s.Last, from.Unix())
	e.s.Work, e.s.Hold = true, until.Unix()
	e.interrupt()
}

// CheckedUntil returns when the function check that is on ends by itself; the zero
// time where none is on.
func (e *Engine) CheckedUntil() time.Time {
	if !e.s.Work {
		return time.Time{}
	}
	return timeOf(e.s.Hold)
}

// Checking reports whether a function check is on.
func (e *Engine) Checking() bool { return e.s.Work }

// endCheck ends a function check of which nothing is said of what was done. Whoever
// closes the box then still moves the leads: what they do within the hour is no
// occasion of its own for the odds (bet).
func (e *Engine) endCheck(at int64) {
	st := &e.s
	st.Last = max(st.Last, at)
	st.Work, st.Hold = false, 0
	e.interrupt()
	st.Copper.GapAt = st.Last
	for k := range e.m.n {
		st.Ch[k].Spike.Spell = int32(st.Last / slotS)
	}
}

// interrupt drops what was begun and not finished: the slot, the row of samples with an
// open circuit, an excursion that has not returned. The block goes on over a check as
// over any gap: of somebody who only looks every day it would lose as many blocks, and
// where something was done it steps as it does where nobody tells of it.
func (e *Engine) interrupt() {
	st := &e.s
	st.Slot.N = 0
	st.Open = openState{}
	st.Sensor.Known = false
	if e.m.up || e.m.down {
		st.Ch[ofSensor].UN = 0 // polls in a row (alone)
	}
	for k := range e.m.n {
		c := &st.Ch[k]
		c.PrevOK, c.Spike.Run = false, 0
	}
}

// Journal takes an entry that a person made at a time and appends what it clears.
// After WorkDone and BaselineAccepted the loop is learnt anew.
func (e *Engine) Journal(at time.Time, en Entry, out []finding.Finding) []finding.Finding {
	switch en {
	case FunctionCheck:
		e.Check(at, at.Add(checkLongest))
		return out
	case CheckEnded:
		if e.s.Work {
			e.endCheck(at.Unix())
		}
		return out
	}
	e.s.Last = max(e.s.Last, at.Unix())
	e.s.Work, e.s.Hold = false, 0
	e.interrupt()
	e.dropBlock()
	e.s.Anew = e.s.Last
	why := "work done, learning anew"
	if en == BaselineAccepted {
		why = "baseline accepted, learning anew"
	}
	for t := range e.s.Found {
		out = e.clear(topic(t), e.s.Last, why, out)
	}
	e.s.Copper.JumpFrom = e.s.Copper.F
	e.renew()
	for k := range e.s.Ch {
		e.s.Ch[k].Spike = spikeState{} // excursions of before are settled with it
	}
	return out
}
