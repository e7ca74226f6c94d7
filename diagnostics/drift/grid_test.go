package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// While a coarser resolution is suspected, excursions of its size are its steps.
func TestStepsOfANewResolutionAreNoExcursions(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(3)
	c.feed(e, 0, 30*perDay)
	s := &e.s.Ch[1].Spike
	s.Size, s.Sure, s.Maybe = 0.02, 20, 0
	if !e.spiking(1) {
		t.Fatal("twenty excursions of 20 mΩ are none")
	}
	e.s.Grid.Same, e.s.Grid.Next = 1, 0.02
	if e.spiking(1) {
		t.Error("steps of a new resolution of 20 mΩ pass for excursions")
	}
	s.Size = 0.05
	if !e.spiking(1) {
		t.Error("excursions of 50 mΩ are no steps of 20 mΩ")
	}
}

func TestStepsInWords(t *testing.T) {
	for x, want := range map[float32]string{0.01: "in steps of 10 mΩ", 0.0001: "in steps of 0.1 mΩ", 0: "in steps too fine to be seen"} {
		if got := steps(x); got != want {
			t.Errorf("%g Ω: %q, want %q", x, got, want)
		}
	}
}

// Short leads on a coarse device stand still between two steps for weeks: where
// they stand says less than a step, and how much they scatter there says nothing.
func TestWhatHoldsALeadStill(t *testing.T) {
	for _, tt := range []struct {
		ohm, noise float64
		carried    bool
	}{{0.13, 0.001, false}, {0.13, 0.006, true}, {0.5, 0.001, true}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(3)
		c.noise = tt.noise
		for k := range c.lead {
			c.lead[k] = tt.ohm + 0.001*float64(k)
		}
		c.fault = func(_ float64, v *[measure.LeadCount]float64) {
			for k := range v {
				v[k] = math.Round(v[k]*100) / 100
			}
		}
		c.feed(e, 0, 60*perDay)
		p := e.newest()
		x, _ := e.threshold(0, &p)
		if e.carried(0) != tt.carried || tt.carried != (x < 0.0145) {
			t.Errorf("%.2f Ω, noise %.0f mΩ: carried over steps of 10 mΩ %v, threshold %.1f mΩ; want %v", tt.ohm, tt.noise*1e3, e.carried(0), x*1e3, tt.carried)
		}
	}
}

// Of negative values the step is told as of positive ones.
func TestTheResolutionOfNegativeValues(t *testing.T) {
	var g gridState
	for i := range 40 {
		l := look{v: [channels]float64{-0.005 * float64(1+i%7)}}
		g.take(&l, 1)
	}
	if g.close(); g.Step != 0.005 {
		t.Errorf("multiples of −5 mΩ come in steps of %g Ω", g.Step)
	}
}
