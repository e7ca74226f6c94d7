package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// The coarsest step of a value tells every step of which it is a multiple, and is
// told by what the value leaves of the largest.
func TestRemaindersTellMultiples(t *testing.T) {
	for n := range uint32(1000) {
		var g gridState
		g.take(&look{v: [channels]float64{float64(n) / 1000}}, 1)
		for _, q := range gridMilli {
			if got, want := g.multiples(q) == 1, n%q == 0; got != want {
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
		gate := max(gateSigma*max(ch.Sigma, gateQuiet*float64(ch.Quiet)), 1.5*float64(e.s.Grid.Step), gateOhm)
		wide = min(wide, gate/ch.Base)
		if ch.Fit.N == 0 || p.usual[k] != ch.usual(f) || p.bare[k] != v[k]-f*ch.Base || fr.gate[k] != gate {
			t.Errorf("channel %d: usual %v, want %v; bare %v, gate %v", k, p.usual[k], ch.usual(f), p.bare[k], fr.gate[k])
		}
	}
	if fr.wide != wide {
		t.Errorf("narrowest gate %v, want %v", fr.wide, wide)
	}
}

// An estimate leaves out what it has no use for; its contacts are those of the
// whole picture, of three leads of which two have risen as well.
func TestEstimateIsThatOfTheWholePicture(t *testing.T) {
	for name, fault := range map[string]func(float64, *[measure.LeadCount]float64){
		"sound": nil,
		"one":   growth(measure.B1, 25, 0.004),
		"two": func(d float64, v *[measure.LeadCount]float64) {
			growth(measure.B1, 25, 0.004)(d, v)
			growth(measure.A1, 28, 0.009)(d, v)
		},
	} {
		for _, m := range []wiring.Method{wiring.ThreeWireDual, wiring.FourWire} {
			e := mustEngine(t, testSpec(t, "TT-1", m, wiring.AllLeads))
			c := newCable(5)
			c.fault = fault
			c.feed(e, 0, 45*perDay+9)
			p, got := e.newest(), e.Estimate()
			for k := range e.m.n {
				if l := e.m.ch[k].lead; float64(got.Contact[l]) != p.newest[k] || p.u[k] == 0 {
					t.Errorf("%s, %v: lead %v has %v, want %v", name, m, l, got.Contact[l], p.newest[k])
				}
			}
			if name == "two" && m == wiring.ThreeWireDual && !p.lowest {
				t.Error("two rose and it was not seen: the test shows little")
			}
		}
	}
}
