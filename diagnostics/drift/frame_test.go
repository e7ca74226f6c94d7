package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/wiring"
)

// The steps of grids are found by remainders of the largest: every one of them
// must be a divisor of it, and each bit must say what dividing says.
func TestRemaindersTellMultiples(t *testing.T) {
	for n := range uint32(1000) {
		for i, q := range gridMilli {
			if got, want := gridOf[n%gridMost]>>i&1 == 1, n%q == 0; got != want {
				t.Errorf("%d mΩ is a multiple of %d: %v, want %v", n, q, got, want)
			}
		}
	}
}

// What a step is held against is what the channels say themselves.
func TestFrameIsThatOfTheChannels(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(1)
	c.feed(e, 0, 10*perDay)
	v, f := [channels]float64{0.53, 0.52, 0.51}, 1.013
	var fr frame
	var p part
	e.frame(&fr)
	e.part(&fr, &v, f, 50, &p)
	wide := math.Inf(1)
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		wide = min(wide, e.gate(k)/ch.Base)
		if ch.Fit.N == 0 || p.usual[k] != ch.usual(f) || p.bare[k] != v[k]-f*ch.Base || fr.gate[k] != e.gate(k) {
			t.Errorf("channel %d: usual %v, want %v; bare %v, gate %v", k, p.usual[k], ch.usual(f), p.bare[k], fr.gate[k])
		}
	}
	if fr.wide != wide {
		t.Errorf("narrowest gate %v, want %v", fr.wide, wide)
	}
}
