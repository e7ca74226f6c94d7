package diagnostics_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// Whatever a transmitter sends, the assessment carries a quality and a reason,
// and no number that looks real.
func TestBadInput(t *testing.T) {
	good := measure.Leads{0.5, 0.5, 0.5, 0.5}
	tests := []struct {
		name    string
		method  wiring.Method
		reports wiring.Reports
		change  func(*measure.Sample)
		quality measure.Quality
		reason  string
	}{
		{"NaN lead", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Leads[measure.B1] = quantity.Ohm(nan) }, measure.Invalid, "lead b1 is not reported"},
		{"infinite lead", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Leads[measure.B1] = quantity.Ohm(inf) }, measure.OutOfRange, "lead b1 is infinite"},
		{"negative lead", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Leads[measure.A1] = -0.1 }, measure.OutOfRange, "lead a1 is negative"},
		{"absurd lead", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Leads[measure.A1] = 1e6 }, measure.OutOfRange, "lead a1 is beyond"},
		{"a2 on three wires", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Leads[measure.A2] = 0.5 }, measure.Configuration, "a lead is reported that the configured wiring does not have"},
		{"a1 where only pairs are", wiring.ThreeWireDual, wiring.PairsOnly, func(s *measure.Sample) { s.Leads[measure.A1] = 0.5 }, measure.Configuration, "a lead is reported"},
		{"loop and leads apart", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.LoopB = 1.5 }, measure.Skewed, "do not add up"},
		{"no loop", wiring.ThreeWireDual, wiring.LoopsOnly, func(s *measure.Sample) { s.LoopB = quantity.Ohm(nan) }, measure.Invalid, "loop b1 + b2 is not reported"},
		{"negative loop", wiring.ThreeWireDual, wiring.LoopsOnly, func(s *measure.Sample) { s.LoopB = -5 }, measure.OutOfRange, "impossible"},
		{"sensor and reading absent", wiring.ThreeWireDual, wiring.AllLeads, func(s *measure.Sample) { s.Sensor = quantity.Ohm(nan) }, measure.Invalid, "neither the sensor"},
		{"sensor infinite", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Sensor = quantity.Ohm(inf) }, measure.OutOfRange, "not a positive"},
		{"sensor negative", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Sensor = -5 }, measure.OutOfRange, "not a positive"},
		{"sensor open", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Sensor = 3000 }, measure.OutOfRange, "outside the sensor's curve"},
		{"sensor shorted", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Sensor = 3 }, measure.OutOfRange, "outside the sensor's curve"},
		{"reading absurd", wiring.FourWire, wiring.ReadingOnly, func(s *measure.Sample) { s.Sensor, s.Reading = quantity.Ohm(nan), 3276.7 }, measure.OutOfRange, "the reading is outside"},
		{"stale sample", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Quality = measure.Stale }, measure.Stale, "stale"},
		{"no answer", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Quality = measure.Comms }, measure.Comms, "did not answer"},
		{"no such quality", wiring.FourWire, wiring.AllLeads, func(s *measure.Sample) { s.Quality = 77 }, 77, "not usable"},
	}
	for _, c := range tests {
		s := spec(t, c.method)
		s.Reports = c.reports
		m := at(&s, 80, good)
		if c.reports != wiring.AllLeads {
			m.Leads[measure.A1], m.LoopB = quantity.Ohm(nan), 1
		}
		c.change(&m)
		a := newLoop(t, s).Assess(&m)
		if a.Quality != c.quality || !strings.Contains(string(a.Reason), c.reason) {
			t.Errorf("%s: quality %v, reason %q, want %v, %q", c.name, a.Quality, a.Reason, c.quality, c.reason)
		}
		if quantity.Known(a.Error) && (c.method != wiring.FourWire) {
			t.Errorf("%s: error %v °C looks real", c.name, a.Error)
		}
		if c.method == wiring.FourWire && (quantity.Known(a.Corrected) || quantity.Known(a.Reading)) {
			t.Errorf("%s: reading %v, corrected %v look real", c.name, a.Reading, a.Corrected)
		}
	}
}

// Noise about zero is not an impossible lead.
func TestSlightlyNegativeLeadIsNoise(t *testing.T) {
	s := spec(t, wiring.FourWire)
	m := at(&s, 80, measure.Leads{-0.003, 0.002, 0.001, 0.004})
	if a := newLoop(t, s).Assess(&m); a.Quality != measure.Good {
		t.Errorf("quality %v: %s", a.Quality, a.Reason)
	}
}

// No input makes a number without a quality: whenever the sample is not good, a
// reason says why, and a known error is always one that the physics can make.
func TestAnyInputIsJudged(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := wiring.Method(rapid.IntRange(0, 7).Draw(r, "method"))
		s := spec(t, m)
		if s.Wires > 2 {
			s.Reports = wiring.Reports(rapid.SampledFrom([]int{0, 2, 3}).Draw(r, "reports"))
		}
		s.SensorIs = wiring.SensorIs(rapid.IntRange(0, 2).Draw(r, "sensor is"))
		s.Fixed = 1
		value := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{nan, inf, -inf, 0, -1, 0.5, 0.51, 110, 1e308, 5e-324}), rapid.Float64Range(0, 500))
		x := measure.Empty(noon, measure.Quality(rapid.IntRange(0, 1).Draw(r, "quality")))
		for _, l := range s.Leads() {
			x.Leads[l] = quantity.Ohm(value.Draw(r, "lead"))
		}
		x.LoopA, x.LoopB, x.Sensor = quantity.Ohm(value.Draw(r, "loop a")), quantity.Ohm(value.Draw(r, "loop b")), quantity.Ohm(value.Draw(r, "sensor"))
		x.Reading = quantity.DegC(value.Draw(r, "reading"))
		loop := newLoop(t, s)
		a := loop.Assess(&x)
		if (a.Quality > measure.Late) != (a.Reason != "") {
			r.Fatalf("quality %v with reason %q", a.Quality, a.Reason)
		}
		if low, high := s.Sensor.Range(); quantity.Known(a.Corrected) && (a.Corrected < low-1e-9 || a.Corrected > high+1e-9) {
			r.Fatalf("corrected %v °C", a.Corrected)
		}
		if quantity.Known(a.Error) != quantity.Known(a.U) || a.U < 0 {
			r.Fatalf("error %v with U %v", a.Error, a.U)
		}
		for _, f := range loop.Check(&x, &a, nil) {
			if f.Evidence == "" || f.Kind == "" || !(f.Confidence >= 0 && f.Confidence <= 1) {
				r.Fatalf("finding %+v", f)
			}
		}
	})
}

// A spec that contradicts itself is refused with what to change.
func TestContradictorySpec(t *testing.T) {
	for want, change := range map[string]func(*diagnostics.Spec){
		"no sensor":                        func(s *diagnostics.Spec) { *s = diagnostics.NewSpec("TT-1"); s.Wires = 3 },
		"wires 5":                          func(s *diagnostics.Spec) { s.Wires = 5 },
		"method four-wire needs 4 wires":   func(s *diagnostics.Spec) { s.Method = wiring.FourWire },
		"method two-wire needs 2 wires":    func(s *diagnostics.Spec) { s.Method = wiring.TwoWire },
		"needs offset_ohm":                 func(s *diagnostics.Spec) { s.Wires, s.Method, s.Reports = 2, wiring.TwoWireFixed, wiring.ReadingOnly },
		"can only report the reading":      func(s *diagnostics.Spec) { s.Wires, s.Method = 2, wiring.TwoWire },
		"reports pairs is for three wires": func(s *diagnostics.Spec) { s.Wires, s.Method, s.Reports = 4, wiring.FourWire, wiring.PairsOnly },
		"spread 5":                         func(s *diagnostics.Spec) { s.Spread = 5 },
		"the low one is negative":          func(s *diagnostics.Spec) { s.LimitLow = 0.5 },
		"wider than the sensor's range":    func(s *diagnostics.Spec) { s.LimitHigh = 5000 },
		"device-corrected needs 3 or 4": func(s *diagnostics.Spec) {
			s.Wires, s.Method, s.Reports = 2, wiring.DeviceCorrected, wiring.ReadingOnly
		},
		"method method(99): want one of":     func(s *diagnostics.Spec) { s.Method = 99 },
		"reports reports(9): want one of":    func(s *diagnostics.Spec) { s.Reports = 9 },
		"TT-1204: limits +0.5 to -1 °C: the": func(s *diagnostics.Spec) { s.LimitHigh, s.LimitLow = -1, 0.5 },
	} {
		s := spec(t, wiring.ThreeWireLoop)
		change(&s)
		if _, err := diagnostics.NewLoop(s); err == nil || !strings.Contains(err.Error(), strings.TrimPrefix(want, "TT-1204: limits +0.5 to -1 °C: ")) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
}

// A baseline that lacks what the loop needs is refused.
func TestIncompleteBaseline(t *testing.T) {
	l := newLoop(t, spec(t, wiring.ThreeWireDual))
	b := diagnostics.NoBaseline(noon)
	b.Leads[measure.A1] = 0.5
	if err := l.SetBaseline(b); err == nil || !strings.Contains(err.Error(), "TT-1204: baseline: lead b1 is not reported") || l.HasBaseline() {
		t.Errorf("error %v", err)
	}
	// A literal that names the leads only is enough.
	if err := l.SetBaseline(diagnostics.Baseline{At: noon, Leads: measure.Leads{0.5, quantity.Ohm(nan), 0.5, 0.5}}); err != nil || !l.HasBaseline() {
		t.Errorf("leads alone: %v", err)
	}
	if l.ClearBaseline(); l.HasBaseline() {
		t.Error("the baseline was not forgotten")
	}
}
