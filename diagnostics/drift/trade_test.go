package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// TestSmallTradeIsLearnt swaps two leads that differ by less than the threshold
// and lets one drift by some tenths of a milliohm afterwards, as terminals do.
func TestSmallTradeIsLearnt(t *testing.T) {
	for _, m := range []wiring.Method{wiring.ThreeWireDual, wiring.ThreeWireLoop, wiring.FourWire} {
		e := mustEngine(t, testSpec(t, "TT-1", m, wiring.AllLeads))
		c := newCable(3)
		c.lead[measure.B1], c.lead[measure.B2] = 0.502, 0.500
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.B1], v[measure.B2] = v[measure.B2], v[measure.B1]+0.0013*min(max(0, (d-45)/40), 1)
			}
		}
		out := run(e, &c, 0, 110*perDay)
		if !slices.ContainsFunc(out, func(f finding.Finding) bool {
			return f.Kind == finding.LeadsSwapped && f.Leads == finding.LeadsOf(measure.B1, measure.B2)
		}) {
			t.Errorf("%v: not seen", m)
		}
		if b := bad(out); len(b) > 0 {
			t.Errorf("%v: %s at %v: %s", m, b[0].Kind, b[0].Time, b[0].Evidence)
		}
	}
}

// TestSmallStepIsNoTrade has a step of one lead below the threshold, which pulls
// the common factor so that the others seem to fall; growth after it is a contact.
func TestSmallStepIsNoTrade(t *testing.T) {
	for _, m := range []wiring.Method{wiring.ThreeWireDual, wiring.FourWire} {
		for seed := range uint64(5) {
			e := mustEngine(t, testSpec(t, "TT-1", m, wiring.AllLeads))
			c := newCable(seed)
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				if d > 40 {
					v[measure.B1] += 0.0028 + 0.0005*math.Max(0, d-43)
				}
			}
			out := run(e, &c, 0, 60*perDay)
			if slices.ContainsFunc(out, func(f finding.Finding) bool { return f.Kind == finding.LeadsSwapped }) || len(bad(out)) == 0 {
				t.Errorf("%v, seed %d: taken for a trade, or not found: %d findings", m, seed, len(out))
			}
		}
	}
}
