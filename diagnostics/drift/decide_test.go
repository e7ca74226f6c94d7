package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// TestWaveringIsNotSettling: a contact that falls and rises again is believed
// while it is below its peak; terminals that settle after work are not, whether
// one or two of four leads do, and whatever the block in which work was done shows.
func TestWaveringIsNotSettling(t *testing.T) {
	settling := func(leads ...measure.Lead) func(float64, *[measure.LeadCount]float64) {
		return func(d float64, v *[measure.LeadCount]float64) {
			for _, l := range leads {
				switch x := d - 40.6; {
				case x > 0.1:
					v[l] += 0.02 * math.Exp(-x/5)
				case x > 0: // a hand on the terminals
					v[l] += 0.015 * math.Sin(9e3*x)
				}
			}
		}
	}
	for _, tt := range []struct {
		name  string
		fault func(float64, *[measure.LeadCount]float64)
		by    float64 // day by which it is found; 0 = not at all
	}{
		{"loose: high for hours, every other day", func(d float64, v *[measure.LeadCount]float64) {
			s := max(0, math.Sin(2*math.Pi*d/1.9))
			v[measure.B1] += 0.002 * max(0, d-40) * (0.25 + s*s)
		}, 49},
		{"loose: a high day, then low ones", func(d float64, v *[measure.LeadCount]float64) {
			x := 0.006 + 0.002*math.Sin(2*math.Pi*d)
			switch {
			case d < 40:
				x = 0
			case d > 41 && d < 42:
				x += 0.02
			}
			v[measure.B1] += x
		}, 46},
		{"one lead settles", settling(measure.A2), 0},
		{"two leads settle", settling(measure.A2, measure.B1), 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads)
			s.LimitHigh, s.LimitLow = 0.25, -0.25
			e := mustEngine(t, s)
			c := newCable(11)
			c.fault = tt.fault
			out := counted(c.feed(e, 0, 60*perDay))
			if tt.by == 0 {
				if len(out) > 0 {
					t.Errorf("%s: %s", out[0].Kind, out[0].Evidence)
				}
				return
			}
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			if d := out[0].Time.Sub(testStart).Hours() / 24; d < 40 || d > tt.by || out[0].Leads != finding.LeadsOf(measure.B1) {
				t.Errorf("%s %v on day %.2f, want b1 by day %v: %s", out[0].Kind, out[0].Leads.Names(), d, tt.by, out[0].Evidence)
			}
		})
	}
}

// A contact with many faces, daily swings in one week and a level in the next,
// does not change its name every week once it has stood for a month.
func TestNamesSettleDown(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(6)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		switch {
		case d < 40:
		case int(d/7)%2 == 0:
			v[measure.B1] += 0.03 * (1 + math.Sin(2*math.Pi*d))
		default:
			v[measure.B1] += 0.05
		}
	}
	names, first := 0, 0
	for _, f := range c.feed(e, 0, 160*perDay) {
		if f.State == finding.Raised && f.Severity > finding.Info {
			if names++; f.Time.Before(testStart.AddDate(0, 0, 72)) {
				first++
			}
		}
	}
	if first < 2 {
		t.Errorf("%d names in the first month: the example is off", first)
	}
	if names-first > 1 {
		t.Errorf("%d more names in the three months after the first", names-first)
	}
}
