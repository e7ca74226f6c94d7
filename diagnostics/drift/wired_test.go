package drift

import (
	"strings"
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

// TestTheBridgedLeadsAreTold wants every lead of the finding in its sentence, what
// it had before, and what that does to the reading with the method.
func TestTheBridgedLeadsAreTold(t *testing.T) {
	tests := []struct {
		method  wiring.Method
		reports wiring.Reports
		bridged []measure.Lead
		until   float64
		said    []string
		not     []string
	}{
		{
			wiring.FourWire, wiring.LoopsOnly, []measure.Lead{measure.B1}, 60, []string{"the sum b1 + b2 is 0.", "of the other sum"}, []string{"neighbours"},
		},
		{
			wiring.ThreeWireDual,
			wiring.AllLeads,
			[]measure.Lead{measure.B1, measure.B2},
			60,
			[]string{"leads b1 and b2 have 0.006 Ω and 0.006 Ω, in the baseline 0.4", "lead a1 is unchanged", "nothing is taken off the reading"},
			[]string{"neighbours"},
		},
		{
			wiring.FourWire,
			wiring.AllLeads,
			[]measure.Lead{measure.B1, measure.B2},
			0,
			[]string{"leads b1 and b2 have 0.006 Ω and 0.006 Ω, less than 30 % of the 0.4"},
			[]string{"neighbours", "baseline", "taken off"},
		},
		{
			wiring.ThreeWireDual, wiring.AllLeads, []measure.Lead{measure.B2}, 60, []string{"lead b2 is 0.006 Ω", "neighbours"}, []string{"taken off"},
		},
		{
			wiring.FourWire,
			wiring.AllLeads,
			[]measure.Lead{measure.A2, measure.B1},
			43,
			[]string{"leads a2 and b1 have 0.006 Ω and 0.006 Ω", "leads a1 and b2 are unchanged"},
			[]string{"neighbours", "taken off"},
		},
	}
	for _, tt := range tests {
		e := mustEngine(t, testSpec(t, "TT-1", tt.method, tt.reports))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			for _, l := range tt.bridged {
				if d > 40 && d < tt.until || tt.until == 0 {
					v[l] = 0.006
				}
			}
		}
		said := ""
		for _, f := range run(e, &c, 0, 50*perDay) {
			if f.Kind == finding.NotFourWire || f.Kind == finding.LeadShort {
				if said == "" {
					said = f.Evidence
				}
				if f.State == finding.Cleared && f.Evidence != "no lead is bridged any more" {
					t.Errorf("cleared with %q", f.Evidence)
				}
			}
		}
		for _, want := range tt.said {
			if !strings.Contains(said, want) {
				t.Errorf("%s: no %q in %q", tt.method, want, said)
			}
		}
		for _, bad := range tt.not {
			if strings.Contains(said, bad) {
				t.Errorf("%s: %q in %q", tt.method, bad, said)
			}
		}
	}
}
