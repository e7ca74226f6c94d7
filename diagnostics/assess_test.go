package diagnostics_test

import (
	"math"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

var noon = time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC)

func sensor(t testing.TB, name string) rtd.Sensor {
	t.Helper()
	s, err := rtd.ParseSensor(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// spec returns a loop of a method that reports every lead.
func spec(t testing.TB, m wiring.Method) diagnostics.Spec {
	s := diagnostics.NewSpec("TT-1204")
	s.Sensor, s.Class, s.Method = sensor(t, "Pt100"), rtd.ClassA, m
	s.Wires, s.Reports = max(m.Wires(), 2), wiring.AllLeads
	switch m {
	case wiring.TwoWire, wiring.TwoWireFixed:
		s.Reports = wiring.ReadingOnly
	case wiring.DeviceCorrected:
		s.Wires = 3
	}
	s.Calibrated = diagnostics.LeadsOut
	s.Accuracy.Lead, s.Accuracy.LeadResolution, s.Accuracy.SensorRes = 0.005, 0.001, 0.001
	return s
}

func newLoop(t testing.TB, s diagnostics.Spec) *diagnostics.Loop {
	t.Helper()
	l, err := diagnostics.NewLoop(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// at returns a sample of a loop whose element is at truth and whose leads are
// a1 a2 b1 b2, as a transmitter of the given method reports it.
func at(s *diagnostics.Spec, truth quantity.DegC, leads measure.Leads) measure.Sample {
	m := measure.Empty(noon, measure.Good)
	for _, l := range s.Leads() {
		m.Leads[l] = leads[l]
	}
	m.Sensor = s.Sensor.Forward(truth) + wiring.Imbalance(s.Method, leads, s.Fixed)
	return m
}

// Leads (a1, b1, b2) in Ω, errors in °C by the exact form, computed from the
// circuit with 30 digits.
func TestErrorOfThreeWireMethods(t *testing.T) {
	tests := []struct {
		t                    quantity.DegC
		a1, b1, b2           quantity.Ohm
		loop, dual, half, tw float64
	}{
		{25, .54, .50, .50, +0.103110, +0.103110, +0.103110, +2.681880},
		{25, .50, .54, .50, 0, -0.103106, -0.051554, +2.681880},
		{25, .50, .50, .54, -0.103106, 0, -0.051554, +2.578691},
		{200, .60, .50, .52, +0.217558, +0.271950, +0.244754, +2.992732},
		{-50, .60, .50, .52, +0.201454, +0.251819, +0.226636, +2.771241},
		{400, .54, .50, .50, +0.116069, +0.116069, +0.116069, +3.019257},
	}
	methods := []wiring.Method{wiring.ThreeWireLoop, wiring.ThreeWireDual, wiring.ThreeWireHalf}
	for _, c := range tests {
		leads := measure.Leads{c.a1, quantity.Ohm(math.NaN()), c.b1, c.b2}
		for i, want := range []float64{c.loop, c.dual, c.half} {
			s := spec(t, methods[i])
			m := at(&s, c.t, leads)
			a := newLoop(t, s).Assess(&m)
			if math.Abs(float64(a.Error)-want) > 1e-6 || a.Quality != measure.Good || a.Basis != diagnostics.Measured {
				t.Errorf("%v at %v °C, leads %v: error %.7f %v %q, want %.6f", methods[i], c.t, leads, a.Error, a.Quality, a.Reason, want)
			}
			if math.Abs(float64(a.Corrected-c.t)) > 1e-9 {
				t.Errorf("%v at %v °C: corrected %.10f", methods[i], c.t, a.Corrected)
			}
		}
		// Two wires report no lead; the physics is the same.
		s := spec(t, wiring.TwoWire)
		r := s.Sensor.Forward(c.t)
		if got := s.Sensor.Inverse(r+wiring.Imbalance(wiring.TwoWire, leads, 0), 0) - c.t; math.Abs(float64(got)-c.tw) > 1e-6 {
			t.Errorf("two-wire at %v °C: error %.7f, want %.6f", c.t, got, c.tw)
		}
	}
}

func TestAssessAllocatesNothing(t *testing.T) {
	s := spec(t, wiring.FourWireLoop)
	s.LimitHigh, s.LimitLow = 0.25, -0.25
	m := at(&s, 80, measure.Leads{.51, .55, .50, .62})
	l := newLoop(t, s)
	if err := l.SetBaseline(diagnostics.BaselineOf(&m)); err != nil {
		t.Fatal(err)
	}
	var sink diagnostics.Assessment
	if n := testing.AllocsPerRun(1000, func() { sink = l.Assess(&m) }); n != 0 {
		t.Errorf("%v allocations a sample, want 0", n)
	}
	if sink.Quality != measure.Good || !quantity.Known(sink.Error) {
		t.Errorf("assessment %+v", sink)
	}
	bad := m
	bad.Leads[measure.B1] = -3
	if n := testing.AllocsPerRun(1000, func() { sink = l.Assess(&bad) }); n != 0 || sink.Reason == "" {
		t.Errorf("%v allocations for a bad sample (%q), want 0", n, sink.Reason)
	}
}

func BenchmarkAssess(b *testing.B) {
	for _, name := range wiring.Methods() {
		b.Run("method="+name, func(b *testing.B) {
			m, _ := wiring.ParseMethod(name)
			s := spec(b, m)
			s.LimitHigh, s.LimitLow, s.Fixed, s.Cable20 = 0.25, -0.25, 1, 0.5
			sample := at(&s, 80, measure.Leads{.51, .55, .50, .62})
			l := newLoop(b, s)
			if s.Reports == wiring.AllLeads {
				if err := l.SetBaseline(diagnostics.BaselineOf(&sample)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				l.Assess(&sample)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "samples/s")
		})
	}
}
