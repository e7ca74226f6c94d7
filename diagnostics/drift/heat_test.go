package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// steam returns how warm a core beside a steam line is at a day, as a share of
// the line: on for some hours at irregular times, and lagging by tau hours.
func steam(d, tau float64) float64 {
	x := 0.0
	for i := range 400 {
		on := float64(i)*0.8 + 0.2*math.Sin(float64(i*i)) // irregular
		h, long := (d-on)*24, 3+2*math.Sin(float64(3*i))
		switch {
		case h <= 0:
		case h <= long:
			x = max(x, 1-math.Exp(-h/tau))
		default:
			x = max(x, (1-math.Exp(-long/tau))*math.Exp(-(h-long)/tau))
		}
	}
	return x
}

// beside returns a cable whose core b1 is warmed from a day on, by so much of it.
func beside(seed uint64, from, share, tau float64) cable {
	c := newCable(seed)
	for k := range c.lead {
		c.lead[k] *= 3
	}
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		if d >= from {
			v[measure.B1] *= 1 + share*steam(d, tau)
		}
	}
	return c
}

func TestHotLineBesideOneCoreIsNoContact(t *testing.T) {
	for _, tau := range []float64{0.3, 0.5, 0.8} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := beside(7, 40, 0.12, tau)
		if fs := bad(c.feed(e, 0, 120*perDay)); len(fs) > 0 {
			t.Errorf("time constant %.1f h: %s %v on day %.1f: %s", tau, fs[0].Kind, fs[0].Leads, fs[0].Time.Sub(testStart).Hours()/24, fs[0].Evidence)
		}
	}
}

// The same pulses without a lag are a contact that opens: heat cannot jump.
func TestPulsesThatJumpAreNoHeat(t *testing.T) {
	warm := func(tau float64) int {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := beside(7, 40, 0.12, tau)
		c.feed(e, 0, 45*perDay)
		n := 0
		for i := 45 * perDay; i < 70*perDay; i++ {
			c.feed(e, i, i+1)
			if e.s.Heat.Warm {
				n++
			}
		}
		return n
	}
	if n := warm(0.4); n < 100 {
		t.Errorf("soft pulses made %d samples warm, want many", n)
	}
	if n := warm(0.02); n > 0 {
		t.Errorf("jumps made %d samples warm, want none", n)
	}
}

// A contact that grows on the lead beside the line is still seen.
func TestContactBesideHotLine(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := beside(7, 40, 0.12, 0.4)
	warm := c.fault
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		warm(d, v)
		v[measure.B1] += max(0, d-60) * 0.001
	}
	fs := bad(c.feed(e, 0, 90*perDay))
	if len(fs) == 0 {
		t.Fatal("a contact of 30 mΩ was not found")
	}
	if d := fs[0].Time.Sub(testStart).Hours() / 24; d < 60 || d > 80 || fs[0].Leads != finding.LeadsOf(measure.B1) {
		t.Errorf("%s %v on day %.1f, want b1 between 60 and 80", fs[0].Kind, fs[0].Leads, d)
	}
}
