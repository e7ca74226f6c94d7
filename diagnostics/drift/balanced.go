package drift

import "math"

// Of three leads or four one rose by about as much as another fell: they traded
// places, or two leads rose, one by twice as much as the other. A jump tells, but one
// of a few mΩ is lost in the noise of the input. So little is not told: contacts go on
// growing. Where each of the two stands for days where the other stood, they were
// exchanged, and it is learnt.
const (
	balancedMost  = 2   // thresholds: beyond, a jump is seen
	balancedAlike = 0.5 // of the larger: medians of two days at a threshold scatter by a sixth, and the two leads drift
	balancedFor   = 12  // blocks until it is learnt
	// balancedPlace is how far from the place of the other a lead may stand, of the
	// distance of the two, and balancedOhm what its input adds: two of a device differ
	// by some tenths of a mΩ on a few.
	balancedPlace, balancedOhm = 0.35, 0.0015
)

// balanced returns the lead that rose and the one that fell by about as much.
func (e *Engine) balanced(p *picture) (a, b int, ok bool) {
	if e.m.n < 3 {
		return 0, 0, false
	}
	for k := range e.m.n {
		if p.level[k] > p.level[a] {
			a = k
		}
		if p.level[k] < p.level[b] {
			b = k
		}
	}
	up, down := p.level[a], -p.level[b]
	most := max(up, down)
	if !(most < balancedMost*p.limit[a]) || !(min(up, down) > balancedAlike*most) {
		return 0, 0, false
	}
	for k := range e.m.n {
		if k != a && k != b && !(math.Abs(p.level[k]) < tradeAlike*most) {
			return 0, 0, false
		}
	}
	return a, b, true
}

// exchanged returns two leads that have been balanced for days, each where the other
// stood.
func (e *Engine) exchanged(p *picture) (a, b int, ok bool) {
	a, b, ok = e.balanced(p)
	if !ok || max(p.level[a]/p.limit[a], -p.level[b]/p.limit[b]) < balancedLeast {
		e.s.Balanced = 0
		return 0, 0, false
	}
	if e.s.Balanced = inRow(e.s.Balanced, true); e.s.Balanced < balancedFor || e.s.Found[aboutContact].Kind != 0 {
		return 0, 0, false
	}
	own := func(k int) float64 { return e.s.Ch[k].Base*p.f + e.s.Ch[k].usual(p.f) }
	d := own(b) - own(a)
	near := func(x float64) bool { return math.Abs(x-d) < balancedPlace*math.Abs(d)+balancedOhm }
	return a, b, near(p.level[a]) && near(-p.level[b])
}

// balancedLeast is the level from which it is worth learning, of the threshold.
const balancedLeast = 0.6
