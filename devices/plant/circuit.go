package plant

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// circuit is a loop's wiring at one moment, as it really is.
type circuit struct {
	element float64                    // the sensor alone, Ω
	leads   [measure.LeadCount]float64 // copper and contacts, Ω; +Inf = open
	shunt   float64                    // insulation across the element, Ω; +Inf = sound
	emf     float64                    // V, in the sense of the measuring current
	shortA  bool                       // a1 and a2 joined at the transmitter
	shortB  bool                       // b1 and b2 joined at the transmitter
	shortAB bool                       // a1 and b1 joined at the transmitter (two-wire)
}

// seen returns the element as the input sees it: with the leaking insulation
// across it.
func (c *circuit) seen() float64 {
	if math.IsInf(c.shunt, 1) {
		return c.element
	}
	return c.element * c.shunt / (c.element + c.shunt)
}

// measured is what the input makes of the circuit.
type measured struct {
	after float64 // element and what the method leaves of the leads, Ω; NaN = not measurable
	raw   float64 // between terminals a1 and b1, Ω
	ok    bool    // the device finds nothing wrong
}

// solve runs the input method over the circuit: the voltage at the terminals is
// the sum of I·r along the path of the measuring current, divided by I.
func (c *circuit) solve(m wiring.Method, wires int, fixed, current float64) measured {
	a1, a2, b1, b2 := c.leads[measure.A1], c.leads[measure.A2], c.leads[measure.B1], c.leads[measure.B2]
	rs := c.seen()
	if c.emf != 0 {
		rs += c.emf / current
	}
	if c.shortAB {
		return measured{after: 0.01, raw: 0.01} // the jumper alone
	}
	switch wires {
	case 2:
		raw := a1 + rs + b1
		return finish(raw-fixed*boolFloat(m == wiring.TwoWireFixed), raw)
	case 3:
		return c.three(m, a1, b1, b2, rs)
	}
	return c.four(m, a1, a2, b1, b2, rs)
}

// three solves a three-wire input.
func (c *circuit) three(m wiring.Method, a1, b1, b2, rs float64) measured {
	if c.shortB { // both return together, the input sees no lead to subtract
		raw := a1 + rs + parallel(b1, b2)
		if m == wiring.DeviceCorrected {
			return finish(raw-a1, raw)
		}
		return finish(raw, raw)
	}
	raw := a1 + rs + b1
	switch m {
	case wiring.ThreeWireLoop:
		if math.IsInf(b2, 1) { // the loop cannot be measured and counts as none
			return measured{after: raw, raw: raw}
		}
		return finish(raw-(b1+b2), raw)
	case wiring.ThreeWireHalf: // the current returns through b1, b2 senses
		return finish(a1+rs-(b1+b2)/2, raw)
	case wiring.DeviceCorrected:
		return finish(rs+anyOpen(a1, b1, b2), raw)
	}
	// Two sources into a1 and b1, common return b2 (open: no return at all).
	return finish((a1+rs)-b1+anyOpen(b2), raw)
}

// four solves a four-wire input; a jumper puts the parallel of both wires of its
// side into the reading.
func (c *circuit) four(m wiring.Method, a1, a2, b1, b2, rs float64) measured {
	raw := a1 + rs + b1
	if m == wiring.FourWireLoop { // a2 and b2 are the compensating loop
		return finish(raw-(a2+b2), raw)
	}
	return finish(side(a1, a2, c.shortA)+rs+side(b1, b2, c.shortB), raw)
}

// side is what one side of a true four-wire input adds to the element: nothing,
// or both wires in parallel under a jumper. An open current or potential lead
// leaves the input floating.
func side(x1, x2 float64, jumper bool) float64 {
	if jumper {
		return parallel(x1, x2)
	}
	return anyOpen(x1, x2)
}

// anyOpen is 0, or +Inf when one of the leads is open.
func anyOpen(leads ...float64) float64 {
	for _, r := range leads {
		if math.IsInf(r, 1) {
			return r
		}
	}
	return 0
}

// finish turns what an open lead leaves (infinite or undefined) into "not
// measurable".
func finish(after, raw float64) measured {
	if math.IsInf(after, 0) || math.IsNaN(after) {
		return measured{after: math.NaN(), raw: math.NaN()}
	}
	if math.IsInf(raw, 0) {
		raw = math.NaN()
	}
	return measured{after: after, raw: raw, ok: true}
}

// terminals returns the leads as the device measures them between its
// terminals: joined terminals show nothing of their leads.
func (c *circuit) terminals() [measure.LeadCount]float64 {
	l := c.leads
	if c.shortA {
		l[measure.A1], l[measure.A2] = 0, 0
	}
	if c.shortB {
		l[measure.B1], l[measure.B2] = 0, 0
	}
	return l
}

// pairs returns the six resistances between two terminals (facts of the trade:
// p(a1b1) = a1 + element + b1), joined terminals included.
func (c *circuit) pairs() [measure.PairCount]float64 {
	a1, a2, b1, b2 := c.leads[measure.A1], c.leads[measure.A2], c.leads[measure.B1], c.leads[measure.B2]
	aa, bb := a1+a2, b1+b2
	if c.shortA {
		a1 = parallel(a1, a2)
		a2, aa = a1, 0
	}
	if c.shortB {
		b1 = parallel(b1, b2)
		b2, bb = b1, 0
	}
	rs := c.seen()
	p := [measure.PairCount]float64{}
	p[measure.PairA1A2], p[measure.PairB1B2] = aa, bb
	p[measure.PairA1B1], p[measure.PairA1B2] = a1+rs+b1, a1+rs+b2
	p[measure.PairA2B1], p[measure.PairA2B2] = a2+rs+b1, a2+rs+b2
	return p
}

func parallel(a, b float64) float64 {
	switch {
	case math.IsInf(a, 1):
		return b
	case math.IsInf(b, 1):
		return a
	case a+b == 0:
		return 0
	}
	return a * b / (a + b)
}

func boolFloat(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
