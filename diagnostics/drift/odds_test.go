package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// bounce opens lead b1 by some Ω in the poll nearest to each of some days.
func bounce(ohm float64, days ...float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		for _, x := range days {
			if math.Abs(d-x) < 0.5/perDay {
				v[measure.B1] += ohm
			}
		}
	}
}

// TestFewExcursions: how many excursions make a contact depends on what the
// sensor value says of them, on when they came and on how the loop's bus is.
func TestFewExcursions(t *testing.T) {
	tests := []struct {
		name   string
		method wiring.Method
		shown  bool // the sensor value moves with the lead
		ohm    float64
		days   []float64
		found  int // excursions until it is called; 0 = not at all
	}{
		{"one may be anything", wiring.ThreeWireDual, true, 0.3, []float64{40.3}, 0},
		{"two on two days", wiring.ThreeWireDual, true, 0.3, []float64{40.3, 44.7}, 2},
		{"two in one hour are one visit", wiring.ThreeWireDual, true, 0.3, []float64{40.3, 40.32}, 0},
		{"two that only the register shows", wiring.ThreeWireDual, false, 0.3, []float64{40.3, 44.7}, 0},
		{"two where the method hides them", wiring.FourWire, true, 0.3, []float64{40.3, 44.7}, 0},
		{"three where the method hides them", wiring.FourWire, true, 0.3, []float64{40.3, 44.7, 46.1}, 3},
		{"three of a size that digits have", wiring.FourWire, true, 12, []float64{40.3, 44.7, 50.1, 60}, 0},
		{"five in two hours are one visit", wiring.FourWire, true, 0.05, []float64{40.3, 40.32, 40.34, 40.36, 40.38}, 0},
		{"two months apart", wiring.ThreeWireDual, true, 0.3, []float64{40.3, 100.7}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", tt.method, wiring.AllLeads))
			c := newCable(5)
			still := c
			c.fault = bounce(tt.ohm, tt.days...)
			var out []finding.Finding
			for i := range int((tt.days[len(tt.days)-1] + 3) * perDay) {
				s := c.at(e.m.spec, i)
				if !tt.shown {
					s.Sensor = still.at(e.m.spec, i).Sensor
				}
				out = e.Step(&s, nil, out)
			}
			out = counted(out)
			if tt.found == 0 {
				if len(out) > 0 {
					t.Fatalf("%s at day %.2f: %s", out[0].Kind, out[0].Time.Sub(testStart).Hours()/24, out[0].Evidence)
				}
				return
			}
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			f, d := out[0], out[0].Time.Sub(testStart).Hours()/24
			if f.Kind != finding.LeadIntermittent || f.Leads != finding.LeadsOf(measure.B1) {
				t.Errorf("got %s %v: %s", f.Kind, f.Leads.Names(), f.Evidence)
			}
			if x := tt.days[tt.found-1]; d < x-0.01 || d > x+0.02 {
				t.Errorf("found on day %.2f, want with the excursion on day %.2f", d, x)
			}
		})
	}
}

// One excursion that the sensor value shows is enough where the lead has slowly
// risen before, by less than a finding takes; where it came there at once, or where
// the sensor value does not show it, it is not.
func TestOneExcursionOfALeadThatRose(t *testing.T) {
	for _, tt := range []struct {
		name  string
		rise  func(d float64) float64 // Ω
		shown bool
		found bool
	}{
		{"slowly", func(d float64) float64 { return 0.0016 * min(max(0, d-30)/8, 1) }, true, true},
		{"slowly, only the register shows it", func(d float64) float64 { return 0.0016 * min(max(0, d-30)/8, 1) }, false, false},
		{"not at all", func(float64) float64 { return 0 }, true, false},
		{"at once", func(d float64) float64 {
			if d < 38 {
				return 0
			}
			return 0.0016
		}, true, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(5)
		rise := func(d float64, v *[measure.LeadCount]float64) { v[measure.B1] += tt.rise(d) }
		c.fault = rise
		still := c
		open := bounce(0.3, 44.3)
		c.fault = func(d float64, v *[measure.LeadCount]float64) { rise(d, v); open(d, v) }
		var out []finding.Finding
		for i := range 45 * perDay {
			s := c.at(e.m.spec, i)
			if !tt.shown {
				s.Sensor = still.at(e.m.spec, i).Sensor
			}
			out = e.Step(&s, nil, out)
		}
		out = counted(out)
		if got := len(out) > 0; got != tt.found {
			t.Errorf("%s: found %v, want %v", tt.name, printed(out), tt.found)
		}
		if tt.found && len(out) > 0 && (on(out[0].Time) < 44.3 || on(out[0].Time) > 44.33 || out[0].Kind != finding.LeadIntermittent || out[0].Leads != finding.LeadsOf(measure.B1)) {
			t.Errorf("%s: %v", tt.name, printed(out))
		}
	}
}

// TestExcursionsOnABadBus: where bad values are common, as many excursions as
// would make a contact on a good bus make none.
func TestExcursionsOnABadBus(t *testing.T) {
	for _, tt := range []struct {
		every int // polls between obviously bad values
		found bool
	}{{0, true}, {60, false}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
		c := newCable(6)
		c.fault = bounce(0.2, 40.3, 42.2, 44.7)
		var out []finding.Finding
		for i := range 50 * perDay {
			s := c.at(e.m.spec, i)
			if tt.every > 0 && i%tt.every == 7 {
				s.Leads[i/tt.every%4] = 0
			}
			out = e.Step(&s, nil, out)
		}
		if got := len(counted(out)) > 0; got != tt.found {
			t.Errorf("a bad value every %d polls: found %v, want %v", tt.every, got, tt.found)
		}
	}
}

// TestProof compares with likelihood ratios of Student's t with three degrees of
// freedom, worked out by hand: 2·ln((3v + out²)/(3v + (out − want)²)) with
// v = 0.75·σ² + (want/10)².
func TestProof(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	e.s.Step, e.s.Last = 600, 1e9
	e.s.Sensor = sensorState{Value: 120, Sigma: 0.02, Known: true}
	nan := math.NaN()
	for _, tt := range []struct {
		name            string
		want, out, back float64 // Ω from the value before
		proof           float64
	}{
		{"as it should", 0.08, 0.08, 0, 2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"not at all", 0.08, 0, 0, -2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"half", 0.08, 0.04, 0, 0},
		{"what the process did meanwhile is taken off", 0.08, 0.10, 0.04, 2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"in the middle of a ramp", 0.08, 8.08, 16, 2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"a process step", 0.08, 20, 0, 0.0160},
		{"large and right", 5, 5.1, 0, proofMost},
		{"large and missing", 5, 0.1, 0, -proofMost},
		{"no sensor value", 0.08, nan, 0, 0},
		{"none afterwards", 0.08, 0.08, nan, 2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"the method takes it out", 0, 0.02, 0, 0},
	} {
		e.s.Ch[0].Spike = spikeState{Run: 1, Start: 1e9 - 600, Want: float32(tt.want), Out: float32(tt.out)}
		if got := e.proof(0, 120+tt.back); math.Abs(got-tt.proof) > 0.002 {
			t.Errorf("%s: %.4f, want %.4f", tt.name, got, tt.proof)
		}
	}
	e.s.Ch[0].Spike.Split = true
	if got := e.proof(0, 120); got != -proofMost {
		t.Errorf("registers that part: %.4f", got)
	}
}

// TestOddsFade: without new excursions the odds of a contact are gone within
// four weeks, and a finding about it with them.
func TestOddsFade(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(8)
	c.fault = bounce(0.3, 40.3, 44.7)
	if out := counted(c.feed(e, 0, 46*perDay)); len(out) == 0 {
		t.Fatal("nothing found to begin with")
	}
	out := c.feed(e, 46*perDay, 76*perDay)
	if len(e.Open(nil)) > 0 {
		t.Errorf("stands after four weeks: %s", out[len(out)-1].Evidence)
	}
}
