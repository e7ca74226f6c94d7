package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// A lead that rounding holds still while the copper factor moves fits a slope of
// minus its whole copper. The factor that it tells must stay finite.
func TestRoundingLeavesASlopeToDivideBy(t *testing.T) {
	c := chState{Base: 0.24}
	for i := range 400 {
		f := 1 + 0.06*float64(i%2)
		c.Fit.add(f, 0.24-f*c.Base)
	}
	for _, r := range []float64{0.22, 0.26} {
		a, b := c.Fit.line(steepest * c.Base)
		if x := c.ratio(r, a, b); x < 0.7 || x > 1.3 {
			t.Errorf("a lead of %.2f Ω tells a factor of %.2f, want near 1", r, x)
		}
	}
}

// Two short leads on a coarse and noisy input hold no movement of their own: what
// both have in common is copper, and nothing that is learnt of one or taken off it
// may carry the factor away.
func TestFactorOfTwoShortLeadsStays(t *testing.T) {
	for seed := range uint64(6) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireLoop, wiring.PairsOnly))
		c := newCable(seed)
		c.noise = 0.005
		c.lead[measure.B1], c.lead[measure.B2] = 0.180, 0.188
		var out []finding.Finding
		far, sum, home := 0.0, 0.0, copperOn(0.125) // of the first block
		for i := range 170 * perDay {
			s := c.at(e.m.spec, i)
			out = e.Step(&s, nil, out)
			if f := e.Estimate().CopperFactor; f == f {
				sum += (f - copperOn(float64(i)/perDay)/home) / (10 * perDay)
			}
			if i%(10*perDay) == 0 {
				far, sum = max(far, math.Abs(sum)), 0
			}
		}
		if far > 0.015 { // 4 K
			t.Errorf("seed %d: over ten days the factor was %.3f away from the copper", seed, far)
		}
		if b := bad(out); len(b) > 0 {
			t.Errorf("seed %d: %s: %s", seed, b[0].Kind, b[0].Evidence)
		}
	}
}
