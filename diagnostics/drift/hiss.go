package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
)

// hissState follows the noise of single values against that of the baseline. A
// shunt to earth or between cores puts noise on every lead and on the sensor at
// once, wet hours more than dry ones; a contact puts it on its own lead.
type hissState struct {
	Ring [recent]float32   // noise over that of the baseline, geometric mean of all channels but the worst
	Each [channels]float64 // of each, smoothed
	N    uint8
	Most float64 // largest three-day median in the baseline
	Over uint16  // blocks in a row above the threshold
	From int64   // since
}

const (
	hissMore    = 1.08 // ratio that a three-day median must pass: six standard errors of it
	hissEach    = 1.02 // and that every channel must show
	hissWeight  = 0.08 // of each channel: three days
	hissConfirm = 8    // blocks: a storm of ten hours is over by then
)

// hissing judges the noise of a block.
func (e *Engine) hissing(p *picture, out []finding.Finding) []finding.Finding {
	h := &e.s.Hiss
	sum, n, least, most := 0.0, 0, math.Inf(1), math.Inf(-1)
	g2 := float64(e.s.Grid.Step) * float64(e.s.Grid.Step) / 12
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		if ch.QuietN < 8 || ch.DiffN < 6 || ch.Flagged || ch.Quiet < 0.5*float64(e.s.Grid.Step) {
			return out
		}
		r := math.Log((ch.Sigma*ch.Sigma+g2)/(ch.Quiet*ch.Quiet+g2)) / 2
		h.Each[k] += hissWeight * (r - h.Each[k])
		sum, n, least, most = sum+r, n+1, min(least, h.Each[k]), max(most, r)
	}
	if n < 2 {
		return out // one channel cannot tell a shunt from anything else
	}
	push(&h.Ring, math.Exp((sum-most)/float64(n-1)))
	h.N = min(h.N+1, recent)
	if h.N < recent {
		return out
	}
	m := median32(h.Ring[:])
	if p.blocks <= learnBlocks {
		h.Most = max(h.Most, m)
	}
	if h.Over == 0 {
		h.From = p.at - recent/2*blockS
	}
	if m < max(hissMore, 1+2*(h.Most-1)) || least < math.Log(hissEach) {
		h.Over = 0
		if m < 1.05 {
			out = e.clear(aboutInsulation, p.at, "noise is back at that of the baseline", out)
		}
		return out
	}
	if h.Over = min(h.Over+1, 1000); h.Over < hissConfirm {
		return out
	}
	c := claim{
		kind: finding.InsulationLeak, severity: finding.Maintenance, since: h.From, contact: math.NaN(), sure: 0.8,
		evidence: fmt.Sprintf("noise of all leads together is %.2f times that of the baseline over three days, no single lead stands out: a shunt, not a contact", m),
	}
	return e.raise(aboutInsulation, p.at, &c, out)
}
