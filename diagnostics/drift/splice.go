package drift

import (
	"math"
	"math/bits"

	"ohmdrift/diagnostics/finding"
)

// A lead that somebody made longer looks like a contact that stepped: nobody can
// know on the first day. New copper goes with the temperature of the cable by its
// whole size, u = J·f; a contact of 100 mΩ does not, or by a multiple of it (a clamp
// that opens with warmth). The slope is that of the movement within days, each lead
// against the others: what they have in common is the factor's.
//
// A spot of clean metal that keeps its size would have the slope of copper as well
// (Holm: its resistance is ρ/2a). Such a spot does not keep still for weeks, so the
// lead must be as quiet as in its baseline, and must not grow beside its copper.
const (
	// spliceAfter blocks after the jump its own trace in the movement has faded to a
	// fifteenth: a fortnight.
	spliceAfter = 14 * 4
	// spliceFor is for how many blocks in a row it must look so: five days.
	spliceFor = 20
	// spliceSure is the largest standard error of the slope, of what copper has: no
	// slope at all is eight of them away.
	spliceSure = 0.12
	// spliceLike is how far the slope may be from that of copper: two standard
	// errors.
	spliceLike = 0.25
	// spliceStill is how much it may have grown within two days beside its copper, of
	// itself, beyond scatter: what grows by a quarter of a per cent a day is none.
	spliceStill = 0.005
	// spliceLoud is how much more, as a logarithm, every pair with the lead may
	// scatter than in the baseline.
	spliceLoud = 0.15
)

// spliced learns a lead that is known to be longer, as copper.
func (e *Engine) spliced(p *picture, out []finding.Finding) []finding.Finding {
	r := &e.s.Found[aboutContact]
	k := bits.TrailingZeros8(r.Channels)
	if r.kind() != finding.LeadStep || bits.OnesCount8(r.Channels) != 1 || e.m.n < 3 || !e.likeCopper(k, p) {
		e.s.Longer = 0
		return out
	}
	if e.s.Longer++; e.s.Longer < spliceFor {
		return out
	}
	e.s.Longer = 0
	ch := &e.s.Ch[k]
	slope, _ := e.slope(k)
	more := e.longer(k, p)
	why := say("what came %s goes with the temperature of the cable by %.0f %% of what as much copper would (called so within %.0f %%), is as quiet as the lead was and does not grow: %s longer, no contact; learnt", ch.when(), slope/more*100, spliceLike*100.0, ohms(p.level[k]))
	since, _ := ch.stepped()
	c := claim{kind: finding.CableChanged, leads: e.m.ch[k].named, severity: finding.Info, since: since, contact: p.level[k], sure: 0.9, evidence: e.m.name(k) + ": " + why}
	e.absorb(k, 0)
	ch.Base += more
	out = e.clear(aboutContact, p.at, "called "+string(c.kind)+" from now on", out)
	return e.raise(aboutWork, p.at, &c, out)
}

// longer returns what channel k has gained as copper, Ω at factor 1: its level over
// the factor of the same two days. That of a block may be 3 % away, and a contact
// would be learnt with it.
func (e *Engine) longer(k int, p *picture) float64 {
	return p.level[k] / median32(e.s.Copper.Ring[recent-min(int(e.s.Ch[k].UN), 8):])
}

// slope returns by how much channel k moves with the copper factor within days, the
// other channels taken off, and its standard error, Ω.
func (e *Engine) slope(k int) (s, se float64) {
	ch := &e.s.Ch[k]
	ff := float64(ch.Swing.FF)
	uf, noise := float64(ch.Swing.UF), float64(ch.Scale)
	for j := range e.m.n {
		if j != k {
			share := ch.Base / e.s.Ch[j].Base / float64(e.m.n-1)
			uf -= float64(e.s.Ch[j].Swing.UF) * share
			noise = math.Hypot(noise, float64(e.s.Ch[j].Scale)*share)
		}
	}
	const blocks = 2 / swingWeight // that a fading mean comes from
	return uf / ff, noise * absToSigma / math.Sqrt(ff*blocks)
}

// absToSigma turns a mean absolute residual of normal data into a standard
// deviation: √(π/2).
const absToSigma = 1.2533141373

// likeCopper tells whether what channel k has gained behaves as copper does.
func (e *Engine) likeCopper(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	if p.at-ch.JumpAt < spliceAfter*blockS || ch.UN < recent || e.s.Hiss.Seen < hissReady || e.s.Hiss.alone(k, e.m.n) > spliceLoud {
		return false
	}
	slope, se := e.slope(k)
	want := e.longer(k, p)
	if !(se < spliceSure*want && math.Abs(slope-want) < spliceLike*want) {
		return false
	}
	day := func(u *[recent]float32, from int) (mean float64) {
		for _, x := range u[from : from+4] {
			mean += float64(x) / 4
		}
		return mean
	}
	grew := func(u *[recent]float32) float64 { return day(u, recent-4) - day(u, 0) }
	return math.Abs(grew(&ch.U)-slope*grew(&e.s.Copper.Ring)) < spliceStill*want+float64(ch.Scale)
}
