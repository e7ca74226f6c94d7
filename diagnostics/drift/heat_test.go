package drift

import (
	"math"
	"strings"
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

// A line that was warm for hours in the baseline and stays warm for a week of frost
// moves its core for days by more than three of its standard deviations: still no
// contact. A core that no line warmed is one by as much.
func TestFrostBesideAHotLine(t *testing.T) {
	for _, tt := range []struct {
		name   string
		warmed bool // four hours in forty
		found  bool
	}{{"beside the line", true, false}, {"by itself", false, true}} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(7)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			heat := func(h float64) float64 { // on for h hours since it came on
				return 1 - math.Exp(-h/0.4)
			}
			switch h := math.Mod(d, 1.7) * 24; {
			case d >= 60 && d < 64:
				v[measure.B1] += 0.02 * heat((d-60)*24)
			case d >= 64:
				v[measure.B1] += 0.02 * math.Exp(-(d-64)*24/0.4)
			case tt.warmed && h < 4:
				v[measure.B1] += 0.02 * heat(h)
			case tt.warmed:
				v[measure.B1] += 0.02 * heat(4) * math.Exp(-(h-4)/0.4)
			}
		}
		out := counted(c.feed(e, 0, 80*perDay))
		if got := len(out) > 0; got != tt.found {
			t.Errorf("%s: %v, want a finding %v", tt.name, printed(out), tt.found)
		}
		var v View
		e.Explain(&v)
		if hot := strings.HasPrefix(v.Rule[measure.B1], "4.5 × largest swing"); hot != tt.warmed {
			t.Errorf("%s: threshold by %s", tt.name, v.Rule[measure.B1])
		}
	}
}

func TestWhichLeadLiesBesideSomethingHot(t *testing.T) {
	for _, tt := range []struct {
		name  string
		calm  []float32 // largest swings of the baseline, mΩ
		alone bool      // of the first
	}{
		{"one swung", []float32{5, 0.3, 0.4}, true},
		{"all did", []float32{5, 4, 4}, false},
		{"two did", []float32{5, 4, 0.5}, true},
		{"hardly at all", []float32{1.5, 0.1, 0.1}, false},
		{"of two the swing is in both", []float32{9, 2}, false},
	} {
		reports := wiring.AllLeads
		if len(tt.calm) == 2 {
			reports = wiring.PairsOnly
		}
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, reports))
		for k, x := range tt.calm {
			e.s.Ch[k].Calm = x / 1000
		}
		if got := e.heatedAlone(0); got != tt.alone {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}
