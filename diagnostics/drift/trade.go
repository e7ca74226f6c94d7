package drift

import "math"

// Leads of one cable are nearly of one length, so two that trade places move by
// little, each by what the other does and to the other side. Such a change often
// stays below the threshold of both; unless it is learnt at once, the slow drift
// of months takes one of them beyond it later, when nobody remembers the jump.
//
// What all leads did together is the copper factor's and is taken off. Of three
// leads a contact then leaves (2, −1, −1)/3 of its rise, two that traded places
// (1, −1, 0): the lead between tells them apart.
const (
	// tradeAfter blocks after a jump, and as many before it, tell what it changed.
	tradeAfter = 5
	// tradeAlike is how far the others may move, of the larger of the two: half way
	// between none and the half that a contact makes of three leads.
	tradeAlike = 0.25
	// tradeClear is the least change in mean absolute residuals of a block of the
	// baseline. The difference of two medians of five scatters by about one, and two
	// leads must have it.
	tradeClear = 4
	// tradeOhm is the least change that is worth a note, Ω: half of what a sound
	// terminal may change by (IEC 60947-7-1).
	tradeOhm = 0.0009
	// tradeGrid: below half of the resolution a change may be rounding.
	tradeGrid = 0.5
	// tradeStill is how far a lead may move before and after, of the change.
	tradeStill = 0.75
	// tradeRamp is what may remain of the change when it is looked for within the
	// blocks before and after: a jump leaves nothing, growth 6/7.
	tradeRamp = 0.5
)

// change returns by how much a channel changed between its newest blocks and
// those before them, how far it moved within either, and how far it went on
// moving there, both together.
func (c *chState) change() (x, moved, went float64) {
	then, now := c.U[:tradeAfter], c.U[recent-tradeAfter:]
	return median32(now) - median32(then), max(span(then), span(now)), rise(then) + rise(now)
}

// rise returns by how much the last two of some blocks are above the first two.
func rise(u []float32) float64 {
	n := len(u)
	return float64(u[n-1]+u[n-2]-u[0]-u[1]) / 2
}

// traded looks for two leads of three or four that traded places a day ago, each
// by too little for a finding, and by how much they rose and fell. No contact makes
// another lead fall.
func (e *Engine) traded() (a, b int, up, down float64, ok bool) {
	n := e.m.n
	if n < 3 || e.s.Found[aboutContact].Kind != 0 {
		return 0, 0, 0, 0, false
	}
	var x, moved, went [channels]float64
	mean := 0.0
	for k := range n {
		if e.s.Ch[k].UN < recent {
			return 0, 0, 0, 0, false
		}
		x[k], moved[k], went[k] = e.s.Ch[k].change()
		mean += x[k] / float64(n)
	}
	for k := range n {
		x[k] -= mean
		if x[k] > x[a] {
			a = k
		}
		if x[k] < x[b] {
			b = k
		}
	}
	for _, k := range [...]int{a, b} {
		least := max(tradeOhm, tradeClear*float64(e.s.Ch[k].Scale), tradeGrid*e.s.Grid.coarsest())
		if !(math.Abs(x[k]) > least && moved[k] < tradeStill*math.Abs(x[k])) {
			return 0, 0, 0, 0, false
		}
	}
	if math.Abs(went[a]-went[b]) > tradeRamp*(x[a]-x[b]) {
		return 0, 0, 0, 0, false
	}
	most := tradeAlike * max(x[a], -x[b])
	for k := range n {
		if k != a && k != b && !(math.Abs(x[k]) < most) {
			return 0, 0, 0, 0, false
		}
	}
	own := func(k int) float64 { return e.s.Ch[k].Base + e.s.Ch[k].usual(1) }
	if d := own(b) - own(a); math.Abs(x[a]-d) > tradeAlike*math.Abs(d)+swapOhm+e.s.Grid.coarsest() { // not where the other stood
		return 0, 0, 0, 0, false
	}
	return a, b, x[a], x[b], math.Abs(x[a]+x[b]) < most
}
