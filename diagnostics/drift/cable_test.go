package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// desert is a short cable in the sun: a day of ±20 K on 0.12 Ω, with noise and
// rounding of 5 mΩ that jump by several percent from one poll to the next.
func desert(longer func(d float64) float64) cable {
	c := newCable(8)
	c.noise = 0.003
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		sun := 1 + 0.08*max(-0.4, math.Sin(2*math.Pi*(d-0.4)))
		for k := range v {
			v[k] = math.Round((v[k]-0.5+0.12*sun*longer(d))/0.005) * 0.005
		}
	}
	return c
}

func TestTheSunIsNoOtherCable(t *testing.T) {
	for _, r := range []wiring.Reports{wiring.AllLeads, wiring.PairsOnly, wiring.LoopsOnly} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireHalf, r))
		c := desert(func(float64) float64 { return 1 })
		for _, f := range c.feed(e, 0, 60*perDay) {
			t.Errorf("%s: %s %s: %s", r, f.Kind, f.State, f.Evidence)
		}
	}
}

func TestAnotherCableInTheSun(t *testing.T) {
	for _, r := range []wiring.Reports{wiring.AllLeads, wiring.PairsOnly} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireHalf, r))
		c := desert(func(d float64) float64 {
			if d > 40.3 {
				return 1.4
			}
			return 1
		})
		fs := c.feed(e, 0, 60*perDay)
		if !slices.ContainsFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.CableChanged }) {
			t.Errorf("%s: a cable longer by 40 %% was not told", r)
		}
		for _, f := range bad(fs) {
			t.Errorf("%s: %s: %s", r, f.Kind, f.Evidence)
		}
	}
}
