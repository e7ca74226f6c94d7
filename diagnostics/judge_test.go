package diagnostics_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Which error counts: absolute for leads-out, never and unknown; since
// calibration for leads-in, where the imbalance of that day was trimmed out.
func TestWhichErrorCounts(t *testing.T) {
	then, now := measure.Leads{0.60, 0, 0.50, 0.50}, measure.Leads{0.64, 0, 0.50, 0.50}
	for c, want := range map[diagnostics.Calibrated]float64{
		diagnostics.LeadsIn: 0.04 / 0.387943, diagnostics.LeadsOut: 0.14 / 0.387943, // slope at 25 °C; 0.14 and 0.04 Ω by hand
		diagnostics.CalibratedNever: 0.14 / 0.387943, diagnostics.CalibratedUnknown: 0.14 / 0.387943,
	} {
		s := spec(t, wiring.ThreeWireDual)
		s.Calibrated, s.LimitHigh, s.LimitLow = c, 0.2, -0.2
		l := newLoop(t, s)
		old, m := at(&s, 25, then), at(&s, 25, now)
		before := l.Assess(&m)
		if err := l.SetBaseline(diagnostics.BaselineOf(&old)); err != nil {
			t.Fatal(err)
		}
		a := l.Assess(&m)
		err, _ := l.Counts(&a)
		if math.Abs(float64(err)-want) > 1e-3 || a.Over != (want > 0.2) {
			t.Errorf("%v: %v °C counts, over %v, want %.4f", c, err, a.Over, want)
		}
		if math.Abs(float64(a.Error)-0.14/0.387943) > 1e-3 || math.Abs(float64(a.SinceCal)-0.04/0.387943) > 1e-3 {
			t.Errorf("%v: both errors are to be shown: %v and %v", c, a.Error, a.SinceCal)
		}
		if quantity.Known(before.SinceCal) || c == diagnostics.LeadsIn && (quantity.Known(before.POverLimit) || !strings.Contains(string(before.Reason), "no baseline")) {
			t.Errorf("%v without a baseline: %v, P %v, %q", c, before.SinceCal, before.POverLimit, before.Reason)
		}
		if c == diagnostics.LeadsIn && math.Abs(float64(a.Corrected)-(25+0.10/0.387943)) > 1e-3 {
			t.Errorf("leads-in: the reading of %v was corrected to %v", a.Reading, a.Corrected)
		}
	}
}

// The decision rules at an error of 0.40 °C with U about 0.021 (two leads at
// ±5 mΩ, k = 1.885 for two rectangles, slope 0.39): P is 2.5 % where the limit
// lies U above the error, 97.5 % where it lies U below.
func TestDecisionRules(t *testing.T) {
	s := spec(t, wiring.ThreeWireDual)
	s.Accuracy.LeadResolution = quantity.Ohm(nan)
	m := at(&s, 0, measure.Leads{0.50 + 0.156332, 0, 0.5, 0.5}) // 0.4 K at 0.39083 Ω/K
	base := newLoop(t, s).Assess(&m)
	wantU := 1.885 * math.Sqrt(2) * 0.005 / math.Sqrt(3) / 0.39083
	if math.Abs(float64(base.U)-wantU) > 2e-4 {
		t.Fatalf("U = %v, want %.5f", base.U, wantU)
	}
	tests := []struct {
		rule  diagnostics.DecisionRule
		limit quantity.DeltaC
		p     float64
		over  bool
		clear bool
	}{
		{diagnostics.Probable, base.Error, 0.5, true, false},
		{diagnostics.Probable, base.Error + base.U, 0.025, false, false},
		{diagnostics.Probable, base.Error + base.U*1.01, 0.0239, false, true},
		{diagnostics.Certain, base.Error, 0.5, false, false},
		{diagnostics.Certain, base.Error - base.U, 0.975, true, false},
		{diagnostics.Possible, base.Error + base.U*0.8, 0.0584, true, false},
		{diagnostics.Possible, base.Error + base.U, 0.025, false, false},
	}
	for _, c := range tests {
		s.Rule, s.LimitHigh, s.LimitLow = c.rule, c.limit, -5
		a := newLoop(t, s).Assess(&m)
		if math.Abs(a.POverLimit-c.p) > 1e-3 || a.Over != c.over || a.Clear != c.clear {
			t.Errorf("%v at limit %v: P %.4f over %v clear %v, want %v %v %v", c.rule, c.limit, a.POverLimit, a.Over, a.Clear, c.p, c.over, c.clear)
		}
		if math.Abs(a.ShareLimit-float64(a.Error/c.limit)) > 1e-12 {
			t.Errorf("share of the limit %v", a.ShareLimit)
		}
	}
}

// An error counts against the limit of its own side.
func TestLimitsBySide(t *testing.T) {
	up, down := measure.Leads{0.6, 0, 0.5, 0.5}, measure.Leads{0.5, 0, 0.6, 0.5} // ±0.26 °C
	for _, c := range []struct {
		high, low       quantity.DeltaC
		upOver, dnOver  bool
		upShare, dShare float64
	}{
		{0.5, -0.1, false, true, 0.512, 2.56},
		{0.1, -0.5, true, false, 2.56, 0.512},
		{0.1, quantity.DeltaC(nan), true, false, 2.56, 0},
		{quantity.DeltaC(nan), -0.1, false, true, 0, 2.56},
	} {
		s := spec(t, wiring.ThreeWireDual)
		s.LimitHigh, s.LimitLow = c.high, c.low
		l := newLoop(t, s)
		m, n := at(&s, 0, up), at(&s, 0, down)
		a, b := l.Assess(&m), l.Assess(&n)
		if a.Over != c.upOver || b.Over != c.dnOver || math.Abs(a.ShareLimit-c.upShare) > 0.01 || math.Abs(b.ShareLimit-c.dShare) > 0.01 {
			t.Errorf("limits %v %v: up over %v (%.3f), down over %v (%.3f)", c.high, c.low, a.Over, a.ShareLimit, b.Over, b.ShareLimit)
		}
	}
	s := spec(t, wiring.ThreeWireDual) // no limit: no probability
	m := at(&s, 0, up)
	if a := newLoop(t, s).Assess(&m); quantity.Known(a.POverLimit) || a.Over || a.Clear {
		t.Errorf("without a limit P = %v", a.POverLimit)
	}
}

// What the sensor register means changes where the imbalance is, not how large.
func TestSensorMeanings(t *testing.T) {
	leads := measure.Leads{0.60, 0.7, 0.50, 0.52}
	for m := wiring.TwoWire; m <= wiring.DeviceCorrected; m++ {
		if m.Wires() == 2 {
			continue
		}
		s := spec(t, m)
		left := wiring.Imbalance(m, leads, 0)
		element := s.Sensor.Forward(150)
		for is, value := range map[wiring.SensorIs]quantity.Ohm{
			wiring.AfterMethod: element + left, wiring.ElementOnly: element, wiring.Raw: element + leads[measure.A1] + leads[measure.B1],
		} {
			s.SensorIs = is
			x := at(&s, 150, leads)
			x.Sensor = value
			a := newLoop(t, s).Assess(&x)
			if math.Abs(float64(a.Sensor-element-left)) > 1e-9 || math.Abs(float64(a.Corrected-150)) > 1e-8 || a.Quality != measure.Good {
				t.Errorf("%v, sensor is %v: %v Ω, corrected %v, %v %q", m, is, a.Sensor, a.Corrected, a.Quality, a.Reason)
			}
		}
	}
}

// Only the reading in °C: the resistance comes from it through the curve.
func TestReadingAlone(t *testing.T) {
	s := spec(t, wiring.ThreeWireDual)
	x := at(&s, 200, measure.Leads{0.60, 0, 0.50, 0.52})
	x.Reading, x.Sensor = s.Sensor.Inverse(x.Sensor, 0), quantity.Ohm(nan)
	a := newLoop(t, s).Assess(&x)
	if math.Abs(float64(a.Error)-0.271950) > 1e-6 || math.Abs(float64(a.Corrected-200)) > 1e-9 { // 0.1 Ω at 200 °C, exact form
		t.Errorf("error %v, corrected %v", a.Error, a.Corrected)
	}
}

// A measured imbalance of +0.04 Ω at 100 °C, worked out by hand: correction
// −0.105463 °C (linear), tolerance of class A 0.35.
func TestWorkedCorrection(t *testing.T) {
	s := spec(t, wiring.ThreeWireDual)
	x := at(&s, 100, measure.Leads{0.54, 0, 0.50, 0.50})
	a := newLoop(t, s).Assess(&x)
	if math.Abs(float64(a.Error)-0.105463) > 2e-5 || math.Abs(float64(a.Tolerance)-0.35) > 1e-9 || math.Abs(a.ShareTolerance-0.3013) > 1e-4 {
		t.Errorf("error %v, tolerance %v, share %v", a.Error, a.Tolerance, a.ShareTolerance)
	}
	// The class stands beside the uncertainty, not in it.
	if a.UCorrected > 0.06 {
		t.Errorf("U of the corrected reading %v", a.UCorrected)
	}
}

// Three-wire pairs: b1 leaving b2 does not move the inferred a1 along, and the
// bounds hold whatever a1 is.
func TestPairsInferA1(t *testing.T) {
	s := spec(t, wiring.ThreeWireLoop)
	s.Reports = wiring.PairsOnly
	l := newLoop(t, s)
	for _, grown := range []quantity.Ohm{0, 0.3, 3} {
		truth := measure.Leads{0.5, 0, 0.5 + grown, 0.5}
		x := at(&s, 50, truth)
		x.Leads[measure.A1] = quantity.Ohm(nan)
		a := l.Assess(&x)
		if a.Basis != diagnostics.Inferred || math.Abs(float64(a.Error)) > float64(a.U) {
			t.Errorf("b1 + %v Ω: error %v ± %v %v, the truth is 0", grown, a.Error, a.U, a.Basis)
		}
		if !(a.ErrorLow < a.Error) || quantity.Known(a.ErrorHigh) { // a1 may be 0 but has no upper end
			t.Errorf("b1 + %v Ω: bounds %v %v", grown, a.ErrorLow, a.ErrorHigh)
		}
		if quantity.Known(a.Leads[measure.A1]) {
			t.Errorf("a1 shown as %v", a.Leads[measure.A1])
		}
	}
}

// Four-wire pairs give leads and a closure; a closure that does not close is
// values of different moments.
func TestFourWirePairs(t *testing.T) {
	s := spec(t, wiring.FourWireLoop)
	x := measure.Empty(noon, measure.Good)
	x.Pairs = [measure.PairCount]quantity.Ohm{1.06, 1.12, 110.745, 110.865, 110.785, 110.905} // a1 .51 a2 .55 b1 .50 b2 .62 by hand
	x.Sensor = 109.735 + 0.51 + 0.50 - 0.55 - 0.62
	l := newLoop(t, s)
	a := l.Assess(&x)
	if math.Abs(float64(a.Leads[measure.B2]-0.62)) > 1e-9 || math.Abs(float64(a.Imbalance+0.16)) > 1e-9 || math.Abs(float64(a.Closure)) > 1e-9 || a.Quality != measure.Good {
		t.Errorf("leads %v, imbalance %v, closure %v, %v", a.Leads, a.Imbalance, a.Closure, a.Quality)
	}
	x.Pairs[measure.PairA2B2] += 0.2
	if a = l.Assess(&x); a.Quality != measure.Skewed || !strings.Contains(string(a.Reason), "contradict") {
		t.Errorf("closure %v: %v %q", a.Closure, a.Quality, a.Reason)
	}
}

// A fresh baseline cancels what the device does wrong; an old one does not.
func TestAgeOfTheBaseline(t *testing.T) {
	s := spec(t, wiring.ThreeWireDual)
	s.Calibrated = diagnostics.LeadsIn
	x := at(&s, 50, measure.Leads{0.6, 0, 0.5, 0.5})
	l := newLoop(t, s)
	var last quantity.DeltaC
	for _, age := range []time.Duration{0, 30 * 24 * time.Hour, 180 * 24 * time.Hour, 365 * 24 * time.Hour} {
		b := diagnostics.BaselineOf(&x)
		b.At = noon.Add(-age)
		if err := l.SetBaseline(b); err != nil {
			t.Fatal(err)
		}
		a := l.Assess(&x)
		if a.USinceCal <= last || a.SinceCal != 0 {
			t.Errorf("baseline %v old: %v ± %v, before %v", age, a.SinceCal, a.USinceCal, last)
		}
		last = a.USinceCal
	}
	absolute := l.Assess(&x).U
	if ratio := float64(last / absolute); math.Abs(ratio-math.Sqrt2) > 0.05 { // two independent limits
		t.Errorf("an old baseline has %.3f times the absolute uncertainty, want √2", ratio)
	}
	if b := diagnostics.BaselineOf(&x); true {
		b.At = time.Time{}
		if err := l.SetBaseline(b); err != nil || l.Assess(&x).USinceCal != last {
			t.Errorf("a baseline without a time counts as old: %v", err)
		}
	}
}
