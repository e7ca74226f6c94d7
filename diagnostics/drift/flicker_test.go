package drift

import (
	"math"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// unequal is a cable whose a1 is longer than b1 by so many Ω, on a device that
// reports steps of 20 mΩ and scatters by 5 mΩ.
func unequal(more float64) cable {
	c := newCable(5)
	c.noise = 0.005
	c.lead[measure.A1] = c.lead[measure.B1] + more
	c.fault = func(_ float64, v *[measure.LeadCount]float64) {
		for k := range v {
			v[k] = math.Round(v[k]*50) / 50
		}
	}
	return c
}

func TestRoundingIsNoImbalance(t *testing.T) {
	for _, tt := range []struct {
		more float64 // Ω; the limit of ±0.1 °C is at 38 mΩ
		over bool
	}{{0.021, false}, {0.024, false}, {-0.024, false}, {0.06, true}, {-0.06, true}} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		e.m.spec.LimitHigh, e.m.spec.LimitLow = 0.1, -0.1
		c := unequal(tt.more)
		var over []finding.Finding
		for _, f := range bad(c.feed(e, 0, 40*perDay)) {
			if f.Kind == finding.Imbalance {
				over = append(over, f)
			}
		}
		if (len(over) > 0) != tt.over {
			t.Errorf("%+.0f mΩ of 38: %d findings about the limit, want some: %v", tt.more*1e3, len(over), tt.over)
		}
		if tt.over && len(over) > 0 && over[0].Time.Sub(testStart) > 5*24*time.Hour {
			t.Errorf("%+.0f mΩ of 38: told on day %.1f", tt.more*1e3, over[0].Time.Sub(testStart).Hours()/24)
		}
	}
}

// Another filter that lets three and a half times the noise through takes no loop over its
// limit either, from the first day on, at whatever hour it was set.
func TestAnotherFilterIsNoImbalance(t *testing.T) {
	for i := range 16 {
		method := []wiring.Method{wiring.ThreeWireDual, wiring.ThreeWireHalf}[i%2]
		begins := 40 + float64(i/2)/8
		e := mustEngine(t, testSpec(t, "TT-2101", method, wiring.AllLeads))
		e.m.spec.LimitHigh, e.m.spec.LimitLow = 0.1, -0.1
		c := newCable(5)
		c.noise = 0.004
		c.lead = [measure.LeadCount]float64{1.212, 1.207, 1.198, 1.203}
		c.fault = hiss(func(d float64) float64 {
			if d < begins {
				return 0
			}
			return 0.014
		})
		changed := false
		for _, f := range c.feed(e, 0, 60*perDay) {
			changed = changed || f.Kind == finding.DeviceChanged
			if f.Severity > finding.Info {
				t.Errorf("%v from day %.2f on, day %.1f: %s: %s", method, begins, on(f.Time), f.Kind, f.Evidence)
			}
		}
		if !changed {
			t.Errorf("%v: nobody says that the filter changed", method)
		}
	}
}
