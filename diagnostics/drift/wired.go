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
	c := claim{severity: finding.Maintenance, since: p.at - confirm*blockS, contact: math.NaN(), sure: 0.95}
	low := -1
	for k := range n {
		if r[k] < share*ref && ref-r[k] > shortOhm {
			low = k
			if c.leads |= e.m.ch[k].named; e.m.spec.Wires == 4 && !e.m.ch[k].sum {
				c.leads |= e.m.ch[k].side
			}
		}
	}
	if low < 0 || n < 2 {
		e.s.Low = 0
		return e.clear(aboutWiring, p.at, "all leads are of one length again", out)
	}
	if e.s.Low = min(e.s.Low+1, 200); e.s.Low < confirm {
		return out
	}
	c.kind = finding.LeadShort
	if e.m.spec.Wires == 4 {
		c.kind = finding.NotFourWire
	}
	c.evidence = fmt.Sprintf("%s is %.3f Ω, less than %.0f %% of the %.3f Ω of its neighbours: a jumper in place of a lead", e.m.name(low), r[low], share*100, ref)
	return e.raise(aboutWiring, p.at, &c, out)
}
