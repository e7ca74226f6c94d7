package diagnostics_test

import (
	"math"
	"strings"
	"testing"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// cableLoop is a three-wire Pt100 of grade A on a stated cable.
func cableLoop(t testing.TB, gauge string, length quantity.Metre, balance string) *diagnostics.Loop {
	s := spec(t, wiring.ThreeWireLoop)
	c, err := copper.ParseConductor(gauge)
	if err != nil {
		t.Fatal(err)
	}
	s.Class, s.Conductor, s.CableM, s.Balance = rtd.GradeA, c, length, balance
	return newLoop(t, s)
}

const foot = 0.3048

// About 15 ft of 22 AWG keep a grade A sensor in tolerance, 30 ft without a
// balance label deserve a check (common practice).
func TestUnbalancedCable(t *testing.T) {
	for _, c := range []struct {
		length  quantity.Metre
		balance string
		want    bool
	}{
		{15 * foot, "", false},
		{28 * foot, "", false},
		{30 * foot, "", true},
		{100 * foot, "", true},
		{100 * foot, "2024-03, 0.004 Ω", false},
	} {
		f, got := cableLoop(t, "22 AWG", c.length, c.balance).Unbalanced()
		if got != c.want || got && (f.Kind != finding.UnbalancedCable || !strings.Contains(f.Evidence, "without a balance record")) {
			t.Errorf("%.1f ft, balance %q: %v %+v", float64(c.length)/foot, c.balance, got, f)
		}
	}
	four := spec(t, wiring.FourWire)
	four.Conductor, _ = copper.ParseConductor("22 AWG")
	four.CableM = 500
	if _, got := newLoop(t, four).Unbalanced(); got {
		t.Error("the balance of a four-wire cable does not matter")
	}
}

func commissionWith(l *diagnostics.Loop, leads measure.Leads) diagnostics.Commissioning {
	samples := make([]measure.Sample, 5)
	for i := range samples {
		samples[i] = at(l.Spec(), 20, leads)
		samples[i].DeviceTemp = 20
	}
	return l.Commission(samples)
}

func TestCommissioning(t *testing.T) {
	predicted := 30.48 * 0.0529622 // 100 ft of 22 AWG at 20 °C: 1.6143 Ω
	tests := []struct {
		name    string
		balance string
		leads   measure.Leads
		want    string
		words   string
	}{
		{"as predicted, with a record", "trimmed 2024", measure.Leads{1.62, 0, 1.62, 1.62}, "", ""},
		{"no record", "", measure.Leads{1.62, 0, 1.62, 1.62}, "unbalanced-cable", "without a balance record"},
		{"trimmed cable that was cut", "trimmed 2024", measure.Leads{0.82, 0, 0.81, 0.80}, "unbalanced-cable", "it was cut after it was trimmed, to about 15."},
		{"one lead of another gauge", "trimmed 2024", measure.Leads{1.62, 0, 1.62, 2.6}, "implausible", "[b2]"},
	}
	for _, c := range tests {
		r := commissionWith(cableLoop(t, "22 AWG", 100*foot, c.balance), c.leads)
		if kinds(r.Findings) != c.want || c.words != "" && !strings.Contains(strings.Join(r.Lines, "\n"), c.words) {
			t.Errorf("%s: %q, want %q\n%s", c.name, kinds(r.Findings), c.want, strings.Join(r.Lines, "\n"))
		}
		if math.Abs(float64(r.Predicted.Lead)-predicted-0.004) > 1e-4 || r.Samples != 5 { // four sound points of 1 mΩ
			t.Errorf("%s: predicted %v from %d samples, want %.4f", c.name, r.Predicted.Lead, r.Samples, predicted+0.004)
		}
	}
	l := cableLoop(t, "22 AWG", 100*foot, "")
	if r := l.Commission(nil); r.Samples != 0 || len(r.Findings) != 0 || r.Lines[0] != "no usable sample" {
		t.Errorf("without samples: %+v", r)
	}
}

// The prediction follows the copper: 0.9607 of it at 10 °C, and is wider where
// the temperature is not known.
func TestPredictionFollowsTemperature(t *testing.T) {
	s := cableLoop(t, "18 AWG", 100, "").Spec()
	warm, cold, unknown := s.Predict(20), s.Predict(10), s.Predict(quantity.DegC(nan))
	if got := float64((cold.Lead - 0.004) / (warm.Lead - 0.004)); math.Abs(got-0.9607) > 1e-6 {
		t.Errorf("at 10 °C %v of the lead, want 0.9607", got)
	}
	if !(unknown.Low < cold.Low && unknown.High > warm.High) {
		t.Errorf("unknown temperature: %+v", unknown)
	}
	none := diagnostics.NewSpec("TT-1")
	if p := none.Predict(20); quantity.Known(p.Lead) {
		t.Errorf("no cable stated, predicted %v", p.Lead)
	}
}

// A partner at the same place, or several sensors at an isothermal moment, show
// the lead that three-wire pairs hide.
func TestHiddenLead(t *testing.T) {
	for _, m := range []wiring.Method{wiring.ThreeWireLoop, wiring.ThreeWireDual, wiring.ThreeWireHalf} {
		s := spec(t, m)
		s.Reports = wiring.PairsOnly
		l := newLoop(t, s)
		truth := measure.Leads{0.74, 0, 0.52, 0.50}
		x := at(&s, 37, truth)
		x.Leads[measure.A1] = quantity.Ohm(nan)

		other := spec(t, wiring.FourWire)
		y := at(&other, 37, measure.Leads{0.5, 0.5, 0.5, 0.5})
		partner := newLoop(t, other).Assess(&y)
		h := l.HiddenLead(&x, diagnostics.PartnerReference(&partner, 0.03))
		if math.Abs(float64(h.Value)-0.74) > 1e-9 || !(h.U > 0.01 && h.U < 0.03) || h.Lead != measure.A1 { // 0.03 °C is 0.0117 Ω
			t.Errorf("%v by a calibrated partner: %+v", m, h)
		}
		classed := l.HiddenLead(&x, diagnostics.PartnerReference(&partner, 0))
		if !(classed.U > 2*h.U) { // class A of the partner: ±0.22 °C, 0.09 Ω
			t.Errorf("%v by an uncalibrated partner: U %v against %v", m, classed.U, h.U)
		}
		ref, err := diagnostics.Isothermal([]quantity.DegC{36.98, 37.01, 37.02, quantity.DegC(nan)})
		if err != nil || math.Abs(float64(ref.T)-37.00333) > 1e-5 || ref.Degrees != 2 || math.Abs(float64(ref.Standard)-0.0120185) > 1e-6 { // s/√3 by hand
			t.Fatalf("isothermal: %+v %v", ref, err)
		}
		iso := l.HiddenLead(&x, ref)
		if math.Abs(float64(iso.Value)-0.74) > float64(iso.U) || !(iso.U > quantity.Ohm(1.96*0.0120185*0.388)) { // few degrees of freedom widen it
			t.Errorf("%v at an isothermal moment: %+v", m, iso)
		}
	}
	if _, err := diagnostics.Isothermal([]quantity.DegC{20}); err == nil {
		t.Error("one sensor is no isothermal moment")
	}
	four := newLoop(t, spec(t, wiring.FourWire))
	x := at(four.Spec(), 37, measure.Leads{1, 1, 1, 1})
	if h := four.HiddenLead(&x, diagnostics.Reference{T: 37}); h.Reason == "" || quantity.Known(h.Value) {
		t.Errorf("four wires hide nothing: %+v", h)
	}
}
