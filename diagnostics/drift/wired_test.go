package drift

import (
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// TestTwoBadLeadsMakeNoJumper has short leads, two of which grow to four times
// their length: the sound ones are no jumpers then.
func TestTwoBadLeadsMakeNoJumper(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
	c := newCable(5)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		grow(measure.A1, 40, 0.06, 1)(d, v)
		grow(measure.B2, 40, 0.05, 1)(d, v)
	}
	for _, f := range run(e, &c, 0, 80*perDay) {
		if f.Kind == finding.NotFourWire {
			t.Fatalf("%v at %v: %s", f.Leads.Names(), f.Time, f.Evidence)
		}
	}
}

// TestJumperPutInLater has a jumper in place of a lead from a day on, and one
// beside a lead that is bad as well.
func TestJumperPutInLater(t *testing.T) {
	for _, ohm := range []float64{0, 1.5} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.B1] = 0.006
				v[measure.A1] += ohm
			}
		}
		found := false
		for _, f := range run(e, &c, 0, 44*perDay) {
			found = found || f.Kind == finding.NotFourWire && f.Leads == finding.LeadsOf(measure.B1, measure.B2)
		}
		if !found {
			t.Errorf("%.1f Ω on another lead: no jumper seen", ohm)
		}
	}
}
