package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

// Of two leads the lower one is copper, so where one is retightened the other may
// seem to rise. Values that come back one by one after a gap, or a little noise, are
// enough for the factor to go down with the lead that fell. Afterwards the two days
// can be held against each other: what rose did not change in Ω, and no weather
// cools a cable at once, and the half of it that fell alone.
const (
	// otherFell is the fall from which weather is ruled out, of the lead: 10 K
	// between the same hours of two days, at once. Below, a jump is doubtful.
	otherFell = 2 * fellBy
	// otherStays is how far the lead that seems to have risen may be from where it
	// was, of that fall: what the weather did meanwhile.
	otherStays = 0.25
	// aDay is a day in blocks.
	aDay = dayS / blockS
)

// otherMadeGood learns the fall of one of two leads that stands as the rise of the
// other.
func (e *Engine) otherMadeGood(p *picture, out []finding.Finding) []finding.Finding {
	if e.m.n != 2 || e.s.Copper.N < recent || e.s.Ch[0].UN < recent || e.s.Ch[1].UN < recent {
		return out
	}
	var own [2][recent]float64 // as a share of the baseline
	for k := range own {
		ch := &e.s.Ch[k]
		for i := range own[k] {
			f := float64(e.s.Copper.Ring[i])
			own[k][i] = f + (ch.usual(f)+float64(ch.U[i]))/ch.Base
		}
	}
	for k := range own {
		j := 1 - k
		rose := median32(e.s.Ch[k].U[recent-aDay:])
		d, moved := daysApart(&own[j]), daysApart(&own[k])
		if !(rose > p.limit[k]) || !(d < -otherFell) || math.Abs(moved) > -otherStays*d {
			continue
		}
		i, ok := apart(&own[k], &own[j], float64(e.s.Grid.Step)/min(e.s.Ch[k].Base, e.s.Ch[j].Base))
		if !ok || e.leansTo(k, p, coupleKept) || e.leansTo(j, p, coupleKept) || e.s.Found[aboutContact].Channels>>k&1 != 0 {
			continue // it came slowly, or is a voltage, or of a lead that is known to be bad
		}
		fell := median32(e.s.Ch[j].U[recent-aDay:]) - rose*e.s.Ch[j].Base/e.s.Ch[k].Base
		at := p.at - int64(recent-i)*blockS
		e.asOf(k)
		e.absorb(k, 0)
		e.absorb(j, fell)
		return e.raise(aboutWork, p.at, &claim{
			kind: finding.LeadRestored, leads: e.m.ch[j].named, severity: finding.Info, since: at, contact: fell, sure: 0.7,
			evidence: say("%s fell by %.1f %% at about %s, the same hours of the day compared, and %s stayed in Ω: no weather cools one lead at once, so a contact was made good; learnt", e.m.name(j), -d*100, clock(at), e.m.name(k)),
		}, out)
	}
	return out
}

// asOf makes the recent copper factors those of lead k alone.
func (e *Engine) asOf(k int) {
	c, ch := &e.s.Copper, &e.s.Ch[k]
	for i := range c.Ring {
		if u := ch.U[i]; u == u {
			c.Ring[i] += u / float32(ch.Base)
		}
	}
	c.Slot = 0 // the factor comes back up at once: no cable was changed
}

// apart returns in which of the recent blocks most of what two leads parted by came,
// and whether they kept their distance on the day before and the day after, but for
// rounding.
func apart(x, y *[recent]float64, round float64) (at int, ok bool) {
	var d [recent]float32
	most := 0.0
	for i := range recent {
		if d[i] = float32(x[i] - y[i]); i > 1 && float64(d[i]-d[i-2]) > most {
			at, most = i-1, float64(d[i]-d[i-2])
		}
	}
	by := median32(d[recent-aDay:]) - median32(d[:aDay])
	still := otherStays*by + round
	return at, most > abruptShare*by && span(d[:aDay]) < still && span(d[recent-aDay:]) < still
}

// daysApart returns by how much the newest day differs from the first of the recent
// blocks.
func daysApart(x *[recent]float64) (d float64) {
	for i := range aDay {
		d += (x[recent-aDay+i] - x[i]) / aDay
	}
	return d
}
