package diagnostics_test

import (
	"strings"
	"testing"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// What each method sees at each report level: a1 a2 b1 b2, imbalance, since
// calibration (m measured, i inferred, b bounded, - invisible, space no lead).
func TestObserve(t *testing.T) {
	letters := map[diagnostics.Knowledge]string{diagnostics.Measured: "m", diagnostics.Inferred: "i", diagnostics.Bounded: "b", diagnostics.Invisible: "-"}
	tests := []struct {
		method  wiring.Method
		reports wiring.Reports
		cable   float64
		want    string
	}{
		{wiring.TwoWire, wiring.ReadingOnly, 0, "- -  --"},
		{wiring.TwoWire, wiring.ReadingOnly, 0.5, "i i  i-"},
		{wiring.ThreeWireLoop, wiring.AllLeads, 0, "m mm mm"},
		{wiring.ThreeWireLoop, wiring.PairsOnly, 0, "i mm ii"},
		{wiring.ThreeWireDual, wiring.LoopsOnly, 0, "i bb ii"},
		{wiring.ThreeWireHalf, wiring.ReadingOnly, 0, "- -- --"},
		{wiring.FourWire, wiring.AllLeads, 0, "mmmm mm"},
		{wiring.FourWire, wiring.LoopsOnly, 0, "bbbb mm"},
		{wiring.FourWire, wiring.ReadingOnly, 0, "---- mm"},
		{wiring.FourWireLoop, wiring.LoopsOnly, 0, "bbbb ii"},
		{wiring.DeviceCorrected, wiring.AllLeads, 0, "m mm mm"},
	}
	for _, c := range tests {
		s := spec(t, c.method)
		s.Reports, s.Cable20 = c.reports, quantity.Ohm(c.cable)
		o := diagnostics.Observe(s)
		got := ""
		for l, has := range o.HasLead {
			if has {
				got += letters[o.Leads[l].Knowledge]
			} else {
				got += " "
			}
		}
		got += " " + letters[o.Imbalance.Knowledge] + letters[o.SinceCal.Knowledge]
		if got != c.want {
			t.Errorf("%v, reports %v, cable %v: %q, want %q\n%s", c.method, c.reports, c.cable, got, c.want, o.String())
		}
		for l := measure.A1; l <= measure.B2; l++ { // a lead that is not measured is not named
			if o.Nameable(l) != (o.HasLead[l] && o.Leads[l].Knowledge == diagnostics.Measured) {
				t.Errorf("%v nameable: %v", l, o.Nameable(l))
			}
		}
	}
}

// What is assumed, taken by default or forbidden is said.
func TestObserveSaysWhatItAssumes(t *testing.T) {
	s := spec(t, wiring.ThreeWireLoop)
	s.Reports, s.Accuracy, s.Calibrated = wiring.PairsOnly, diagnostics.NoAccuracy(), diagnostics.CalibratedUnknown
	o := diagnostics.Observe(s)
	for _, want := range []string{
		"lead a1: inferred, assuming one cable with equal leads", "lead b1: measured", "lead accuracy not stated: ±0.02 Ω taken",
		"spread of the cable not stated: 5 % of a lead taken", "both errors are shown", "looks like a warmer process",
	} {
		if !strings.Contains(o.String(), want) {
			t.Errorf("no %q in\n%s", want, o.String())
		}
	}
	s.Partner = "TT-1205"
	if o = diagnostics.Observe(s); !strings.Contains(o.Lines()[0], "partner loop") {
		t.Errorf("with a partner: %s", o.Lines()[0])
	}
	two := spec(t, wiring.TwoWire)
	two.Class = rtd.ClassA
	if o = diagnostics.Observe(two); !strings.Contains(o.String(), "class A does not allow a two-wire connection") {
		t.Errorf("two-wire class A:\n%s", o.String())
	}
}

// Observe promises what Assess then does: an invisible error is NaN, any other
// is a number with that basis.
func TestObserveAgreesWithAssess(t *testing.T) {
	for _, w := range worlds(t, 0.005) {
		o := diagnostics.Observe(w.spec)
		w.redraw()
		x := w.report(w.leads(0), w.spec.Sensor.Forward(50), noon)
		a := newLoop(t, w.spec).Assess(&x)
		if a.Basis != o.Error.Knowledge || quantity.Known(a.Error) != (o.Error.Knowledge != diagnostics.Invisible) {
			t.Errorf("%s: observed %v, assessed %v with error %v", w.name(0.005), o.Error, a.Basis, a.Error)
		}
	}
	s := spec(t, wiring.ThreeWireHalf)
	s.Reports = wiring.ReadingOnly
	x := measure.Empty(noon, measure.Good)
	x.Sensor = 110
	if a := newLoop(t, s).Assess(&x); quantity.Known(a.Error) || a.Basis != diagnostics.Invisible || a.Quality != measure.Good {
		t.Errorf("reading alone: error %v %v %v", a.Error, a.Basis, a.Quality)
	}
}
