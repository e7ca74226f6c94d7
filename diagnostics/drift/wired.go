package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
)

// Leads of one cable are equal within a few percent. One that is a small part of
// the others has a jumper in its place.
const (
	shortShare = 0.3  // of the second largest lead
	shortOhm   = 0.05 // and at least this much below it: shorter leads prove nothing
	shortSum   = 0.7  // for sums of two leads: one jumper halves a side
)

// wired compares the leads with each other in absolute terms. Each is held against
// what the others were in their baseline: two that went bad make no jumper of a
// third.
func (e *Engine) wired(p *picture, out []finding.Finding) []finding.Finding {
	n := e.m.n
	var r, top [channels]float64
	for k := range n {
		r[k] = e.s.Ch[k].Base*p.f + p.u[k] + e.s.Ch[k].usual(p.f)
		if math.IsNaN(r[k]) {
			return out
		}
		x, i := min(r[k], e.s.Ch[k].Base*p.f+e.s.Ch[k].usual(p.f)), k
		for ; i > 0 && top[i-1] < x; i-- {
			top[i] = top[i-1]
		}
		top[i] = x
	}
	share, ref := shortShare, top[min(1, n-1)]
	if n > 0 && e.m.ch[0].sum {
		share, ref = shortSum, top[0]
	}
	c := e.jumper(p.at - confirm*blockS)
	low, longest := uint8(0), e.longest(&r)
	for k := range n {
		if r := &e.s.Found[aboutContact]; r.kind() == finding.ThermalEMF && r.Channels>>k&1 != 0 {
			continue // a voltage made it so short
		}
		if r[k] < share*ref && ref-r[k] > shortOhm || longest >= 0 && e.bridged(k, r[k]) {
			low |= 1 << k
			if c.leads |= e.m.ch[k].named; e.m.spec.Wires == 4 && !e.m.ch[k].sum {
				c.leads |= e.m.ch[k].side
			}
		}
	}
	if now := low != 0 && n > 1; now != (e.s.Low > 0) {
		e.s.Sensor.Bad, e.s.Sensor.Noisy = 0, 0 // what a bridged lead showed were no bad values
	}
	if low == 0 || n < 2 {
		e.s.Low = 0
		return e.clear(aboutWiring, p.at, "no lead is bridged any more", out)
	}
	if e.s.Low = min(e.s.Low+1, 200); e.s.Low < confirm {
		return out
	}
	c.evidence = e.sayBridged(low, &r, share, ref, p)
	return e.raise(aboutWiring, p.at, &c, out)
}

// longest returns which of the leads r is the longest, −1 where that is bridged as
// well: all of them are another cable.
func (e *Engine) longest(r *[channels]float64) int {
	most := 0
	for k := range e.m.n {
		if r[k] > r[most] {
			most = k
		}
	}
	if e.bridged(most, r[most]) {
		return -1
	}
	return most
}

// jumper is the claim that leads are bridged since a time in s.
func (e *Engine) jumper(since int64) claim {
	c := claim{kind: finding.LeadShort, severity: finding.Maintenance, since: since, contact: nan, sure: 0.95}
	if e.m.spec.Wires == 4 {
		c.kind = finding.NotFourWire
	}
	return c
}

// jumperOhm is more than a jumper and its two terminals have, some 5 mΩ each with
// rounding, Ω; common practice.
const jumperOhm = 0.03

// allBridged tells whether nothing is left of any lead that is reported: two
// jumpers, or one where a transmitter shows two leads of three. No cable that
// somebody lays is so short.
func (e *Engine) allBridged(p *picture) bool {
	for k := range e.m.n {
		r := e.s.Ch[k].Base*p.f + p.u[k] + e.s.Ch[k].usual(p.f)
		if !(r < jumperOhm && e.bridged(k, r)) {
			return false
		}
	}
	return e.m.n > 1
}

// tellBridged reports that nothing is left of any lead. The jump stays to be
// judged: of the baseline all is true again when the jumpers are taken out.
func (e *Engine) tellBridged(p *picture, out []finding.Finding) []finding.Finding {
	c := e.jumper(e.s.Copper.JumpAt)
	for k := range e.m.n {
		c.leads |= e.m.ch[k].named
	}
	c.evidence = fmt.Sprintf("all leads that are reported fell to less than %.0f mΩ within one poll at %s and stayed: bridged, not another cable", jumperOhm*1e3, clock(e.s.Copper.JumpAt))
	if e.s.Low == 0 {
		e.s.Sensor.Bad, e.s.Sensor.Noisy = 0, 0 // what a bridged lead showed were no bad values
	}
	e.s.Low = confirm
	out = e.beside(p, e.raise(aboutWiring, p.at, &c, out))
	e.fade()
	return out
}

// bridged tells whether a lead of r Ω is a small part of what it was in the
// baseline.
func (e *Engine) bridged(k int, r float64) bool {
	b := e.s.Ch[k].Base
	return !e.m.ch[k].sum && r < shortShare*b && b-r > shortOhm
}
