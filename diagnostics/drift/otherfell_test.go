package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// Of two leads one is retightened while nobody polls, by a tenth of what it has, and
// the first values after it are late. That is no step of the other one, whichever the
// copper factor went with.
func TestOneOfTwoRetightenedInAGap(t *testing.T) {
	for seed := range uint64(6) {
		for _, fell := range []measure.Lead{measure.B1, measure.B2} {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
			c := newCable(seed)
			c.noise = 0.002
			c.lead[measure.B1], c.lead[measure.B2] = 0.24, 0.24
			c.lead[fell] += 0.03
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				if d > 60 {
					v[fell] -= 0.026
				}
			}
			fs := c.feed(e, 0, 60*perDay)
			fs = append(fs, c.feed(e, 60*perDay+18, 100*perDay)...)
			for _, f := range bad(fs) {
				t.Errorf("seed %d, %v fell, day %.1f: %s %v: %s", seed, fell, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
			}
			if !slices.ContainsFunc(fs, func(f finding.Finding) bool {
				return f.Kind == finding.LeadRestored && f.Leads == finding.LeadsOf(fell)
			}) {
				t.Errorf("seed %d, %v fell: nobody says so", seed, fell)
			}
		}
	}
}

// Where the factor did follow the lead that fell (here it is put there, as values
// that come back one by one after a gap do), the other one seems to have risen:
// held against the day before, it did not.
func TestFactorThatFollowedALeadDown(t *testing.T) {
	for _, fell := range []measure.Lead{measure.B1, measure.B2} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(3)
		c.lead[measure.B1], c.lead[measure.B2] = 0.24, 0.24
		c.lead[fell] += 0.03
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 60 {
				v[fell] -= 0.026
			}
		}
		fs := c.feed(e, 0, 60*perDay)
		e.s.Copper.F *= 0.24 / 0.27
		fs = append(fs, c.feed(e, 60*perDay+18, 80*perDay)...)
		for _, f := range bad(fs) {
			t.Errorf("%v fell, day %.1f: %s %v: %s", fell, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
		}
		if !slices.ContainsFunc(fs, func(f finding.Finding) bool {
			return f.Kind == finding.LeadRestored && f.Leads == finding.LeadsOf(fell)
		}) {
			t.Errorf("%v fell: nobody says so", fell)
		}
	}
}

// A lead of two that really steps, while the cable cools with the weather, is
// found.
func TestOneOfTwoThatStepsInACoolSpell(t *testing.T) {
	for seed := range uint64(4) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(seed)
		c.lead[measure.B1], c.lead[measure.B2] = 0.24, 0.24
		c.season = func(d float64) float64 { return 1 - 0.03*min(max(0, d-59), 3)/3 } // 8 K within three days
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 60 {
				v[measure.B1] += 0.026
			}
		}
		b := bad(c.feed(e, 0, 70*perDay))
		if len(b) == 0 || b[0].Leads != finding.LeadsOf(measure.B1) || on(b[0].Time) < 60 {
			t.Errorf("seed %d: found %v, want b1", seed, b)
		}
	}
}

// Nor of sums of leads, also where the device rounds to 10 mΩ.
func TestOneOfTwoSumsRetightenedInAGap(t *testing.T) {
	for seed := range uint64(4) {
		for _, step := range []float64{0.001, 0.01} {
			for _, fell := range []measure.Lead{measure.A1, measure.B1} {
				e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.LoopsOnly))
				c := newCable(seed)
				c.lead = [measure.LeadCount]float64{0.2, 0.2, 0.2, 0.2}
				c.lead[fell] += 0.04
				c.fault = func(d float64, v *[measure.LeadCount]float64) {
					if d > 60 {
						v[fell] -= 0.03
					}
					for k := range v {
						v[k] = math.Round(v[k]/step) * step
					}
				}
				fs := c.feed(e, 0, 60*perDay)
				fs = append(fs, c.feed(e, 60*perDay+12, 100*perDay)...)
				for _, f := range bad(fs) {
					t.Errorf("seed %d, steps of %g Ω, %v fell, day %.1f: %s: %s", seed, step, fell, on(f.Time), f.Kind, f.Evidence)
				}
				if !slices.ContainsFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.LeadRestored }) {
					t.Errorf("seed %d, steps of %g Ω, %v fell: nobody says so", seed, step, fell)
				}
			}
		}
	}
}
