package drift

import (
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// Two contacts that grow beside each other meet now and then. The sound lead has
// not fallen, nor was the cable changed, while they are
// equal.
func TestTwoBadLeadsMayMeet(t *testing.T) {
	for _, sound := range []measure.Lead{measure.A1, measure.B1, measure.B2} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(4)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			one, two := max(0, d-40)*0.0035, max(0, d-44)*0.002
			if d > 60 { // they meet on day 63 and stay so
				two = one * min(1, 0.46+(d-60)*0.18)
			}
			for _, l := range measure.LeadsOf(3) {
				if l != sound {
					v[l], one, two = v[l]+one, two, one
				}
			}
		}
		want := finding.LeadsOf(measure.A1) | finding.LeadsOf(measure.B1) | finding.LeadsOf(measure.B2)
		want &^= finding.LeadsOf(sound)
		for _, f := range run(e, &c, 0, 80*perDay) {
			if f.Leads.Has(sound) || f.Kind == finding.CableChanged {
				t.Errorf("%s is sound, day %.1f: %s %v: %s", sound, f.Time.Sub(testStart).Hours()/24, f.Kind, f.Leads.Names(), f.Evidence)
			}
		}
		if fs := e.Open(nil); len(fs) != 1 || fs[0].Leads != want {
			t.Errorf("%s is sound: %d findings stand in the end, want one of the two others", sound, len(fs))
		}
	}
}
