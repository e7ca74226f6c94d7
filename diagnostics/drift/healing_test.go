package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

func TestContactThatHealsIsNoVoltage(t *testing.T) {
	for _, o := range []float64{0.03, 0.06, 0.12} {
		for _, tau := range []float64{8, 20, 40} { // days
			for _, m := range []wiring.Method{wiring.ThreeWireDual, wiring.FourWire} {
				e := mustEngine(t, testSpec(t, "TT-2101", m, wiring.AllLeads))
				c := newCable(3)
				c.fault = func(d float64, v *[measure.LeadCount]float64) {
					v[measure.B2] += o * math.Exp(-max(0, d-30)/tau)
				}
				fs := c.feed(e, 0, 150*perDay)
				if b := bad(fs); len(b) > 0 {
					t.Errorf("%s, %.2f Ω that heal in %.0f days: %s: %s", m, o, tau, b[0].Kind, b[0].Evidence)
				}
				if o > 0.03 && !slices.ContainsFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.LeadRestored }) {
					t.Errorf("%s, %.2f Ω that heal in %.0f days: nobody says so", m, o, tau)
				}
			}
		}
	}
}

// A lead that falls away from the others did not heal, whatever it was before
// by a few mΩ.
func TestSlowFallAwayFromTheOthersIsAVoltage(t *testing.T) {
	for _, above := range []float64{-0.02, 0, 0.01} { // Ω
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(3)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			v[measure.B2] += above - max(0, d-40)*0.002
		}
		b := bad(c.feed(e, 0, 80*perDay))
		if len(b) == 0 || b[0].Kind != finding.ThermalEMF || b[0].Leads != finding.LeadsOf(measure.B2) {
			t.Errorf("a lead %.2f Ω above the others that falls by 80 mΩ: found %v, want thermal-emf of b2", above, b)
		}
	}
}

// What healed is learnt: what comes afterwards is seen from there.
func TestContactThatHealsAndRelapses(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(3)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		v[measure.B2] += 0.06*math.Exp(-max(0, d-30)/10) + max(0, d-100)*0.001
	}
	b := bad(c.feed(e, 0, 140*perDay))
	if len(b) == 0 || b[0].Leads != finding.LeadsOf(measure.B2) {
		t.Fatalf("found %v, want b2", b)
	}
	if d := b[0].Time.Sub(testStart).Hours() / 24; d < 100 || d > 127 {
		t.Errorf("found on day %.1f, want between 100 and 127", d)
	}
}

// One lead below because it healed and another a little above are not two that
// rose against the third.
func TestContactThatHealsDoesNotMakeTheOthersRise(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(3)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		v[measure.B2] += 0.016 * math.Exp(-max(0, d-30)/10)
		v[measure.A1] += 0.005 * min(max(0, (d-70)/5), 1)
	}
	b := bad(c.feed(e, 0, 110*perDay))
	if len(b) == 0 {
		t.Fatal("5 mΩ on a1 were not found")
	}
	for _, f := range b {
		if f.Leads != finding.LeadsOf(measure.A1) || f.Contact > 0.008 {
			t.Errorf("%s of %v, %.1f mΩ: %s", f.Kind, f.Leads.Names(), float64(f.Contact)*1e3, f.Evidence)
		}
	}
}

// Of two leads the sound one seems to rise when the other heals. It comes from
// below and ends where cores of one cable are; a contact goes away from there.
func TestContactThatHealsBesideOneLead(t *testing.T) {
	for _, tt := range []struct {
		healing float64 // Ω that b1 has in the baseline and loses
		growth  float64 // Ω a day of b2
		by      float64 // day by which b2 is named; 0 = nothing
	}{{0.03, 0, 0}, {0.06, 0, 0}, {0, 0.001, 80}, {0.03, 0.003, 80}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.PairsOnly))
		c := newCable(3)
		c.lead = [measure.LeadCount]float64{0.5, 0.5, 0.5, 0.501}
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			v[measure.B1] += tt.healing * math.Exp(-max(0, d-30)/15)
			v[measure.B2] += tt.growth * max(0, d-60)
		}
		b := bad(c.feed(e, 0, 120*perDay))
		switch {
		case tt.by == 0 && len(b) > 0:
			t.Errorf("b1 loses %.2f Ω: %s %v on day %.1f: %s", tt.healing, b[0].Kind, b[0].Leads.Names(), on(b[0].Time), b[0].Evidence)
		case tt.by > 0 && (len(b) == 0 || b[0].Leads != finding.LeadsOf(measure.B2) || on(b[0].Time) < 60 || on(b[0].Time) > tt.by):
			t.Errorf("b1 loses %.2f Ω, b2 gains %.3f Ω a day: found %v, want b2 by day %.0f", tt.healing, tt.growth, b, tt.by)
		}
	}
}

// A contact in a lead that was far below the other is doubted until it has passed
// it, and is not learnt away.
func TestContactInTheShorterOfTwoIsNotLearnt(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(4)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		v[measure.B1] += max(0, d-40)*0.0025 - 0.03
	}
	fs := c.feed(e, 0, 62*perDay)
	for _, f := range fs {
		if f.Kind == finding.LeadRestored {
			t.Errorf("day %.1f: learnt: %s", f.Time.Sub(testStart).Hours()/24, f.Evidence)
		}
	}
	b := bad(fs)
	if len(b) == 0 || b[0].Leads != finding.LeadsOf(measure.B1) || b[0].Time.After(testStart.AddDate(0, 0, 58)) {
		t.Errorf("found %v, want b1 soon after it has passed b2 on day 52", printed(b))
	}
}
