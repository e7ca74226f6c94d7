package diagnostics_test

import (
	"math"
	"os"
	"strings"
	"testing"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

func kinds(fs []finding.Finding) string {
	var k []string
	for _, f := range fs {
		k = append(k, string(f.Kind))
	}
	return strings.Join(k, " ")
}

func assessAndCheck(l *diagnostics.Loop, x *measure.Sample) []finding.Finding {
	a := l.Assess(x)
	return l.Check(x, &a, nil)
}

func TestCheckImbalanceNamesTheLead(t *testing.T) {
	for _, c := range []struct {
		leads measure.Leads
		want  string
	}{
		{measure.Leads{0.7, 0, 0.5, 0.5}, "a1"},
		{measure.Leads{0.5, 0, 0.7, 0.5}, "b1"},
		{measure.Leads{0.7, 0, 0.5, 0.71}, ""}, // a1 and b2 have risen: not one lead
	} {
		s := spec(t, wiring.ThreeWireDual)
		s.LimitHigh, s.LimitLow = 0.25, -0.25
		x := at(&s, 20, c.leads)
		f := assessAndCheck(newLoop(t, s), &x)
		if kinds(f) != "imbalance" || strings.Join(f[0].Leads.Names(), " ") != c.want || !(f[0].POverLimit > 0.99) {
			t.Errorf("leads %v: %+v, want imbalance of %q", c.leads, f, c.want)
		}
		if !strings.Contains(f[0].Evidence, "P 1.00 (probable)") {
			t.Errorf("evidence %q does not print P", f[0].Evidence)
		}
	}
	// a1 is the largest lead, but it has fallen since the calibration: it is not
	// what has gone bad.
	cal := spec(t, wiring.ThreeWireDual)
	cal.Calibrated, cal.LimitHigh, cal.LimitLow = diagnostics.LeadsIn, 0.25, -0.25
	old, now := at(&cal, 20, measure.Leads{0.9, 0, 0.5, 0.5}), at(&cal, 20, measure.Leads{0.7, 0, 0.5, 0.5})
	l := newLoop(t, cal)
	if err := l.SetBaseline(diagnostics.BaselineOf(&old)); err != nil {
		t.Fatal(err)
	}
	if f := assessAndCheck(l, &now); kinds(f) != "imbalance" || f[0].Leads != 0 || !(f[0].Error < 0) {
		t.Errorf("a1 has fallen: %+v", f)
	}
	s := spec(t, wiring.ThreeWireLoop) // pairs: over, but no lead can be named for sure
	s.Reports, s.LimitHigh, s.LimitLow = wiring.PairsOnly, 0.25, -0.25
	x := at(&s, 20, measure.Leads{0.5, 0, 0.5, 0.9})
	x.Leads[measure.A1] = quantity.Ohm(nan)
	if f := assessAndCheck(newLoop(t, s), &x); kinds(f) != "imbalance" || f[0].Leads != 0 || !strings.Contains(f[0].Evidence, "inferred") {
		t.Errorf("pairs: %+v", f)
	}
}

func TestCheckLeadLimit(t *testing.T) {
	s := spec(t, wiring.FourWire)
	s.LeadLimit = 10
	x := at(&s, 20, measure.Leads{2, 12, 2, 2})
	f := assessAndCheck(newLoop(t, s), &x)
	if kinds(f) != "lead-limit" || f[0].Leads != finding.LeadsOf(measure.A2) || !(f[0].POverLimit > 0.99) || f[0].Error != 0 {
		t.Errorf("12 Ω against 10: %+v", f)
	}
	x = at(&s, 20, measure.Leads{2, 9.98, 2, 2})
	if f = assessAndCheck(newLoop(t, s), &x); len(f) != 0 {
		t.Errorf("9.98 Ω against 10 by the probable rule: %+v", f)
	}
	s.Reports = wiring.LoopsOnly // sums: one of two is over, none is named
	x = measure.Empty(noon, measure.Good)
	x.Sensor, x.LoopA, x.LoopB = 110, 25, 4
	if f = assessAndCheck(newLoop(t, s), &x); kinds(f) != "lead-limit" || f[0].Leads != 0 {
		t.Errorf("loop of 25 Ω against 2·10: %+v", f)
	}
}

func TestCheckThermalEMF(t *testing.T) {
	s := spec(t, wiring.FourWire)
	s.Accuracy.Current, s.LimitHigh, s.LimitLow = 0.2e-3, 0.25, -0.25
	x := at(&s, 0, measure.Leads{0.5, 0.5, 0.5, 0.5})
	x.EMF = 11e-6 // 22 µV/K × 0.5 K: 0.14 °C at 0.2 mA
	f := assessAndCheck(newLoop(t, s), &x)
	if kinds(f) != "thermal-emf" || math.Abs(float64(f[0].Error)-0.1407) > 5e-4 || f[0].Severity != finding.Maintenance {
		t.Errorf("11 µV: %+v", f)
	}
	x.EMF = 2e-6
	if f = assessAndCheck(newLoop(t, s), &x); len(f) != 0 {
		t.Errorf("2 µV: %+v", f)
	}
	s.Accuracy.Current2 = -0.2e-3 // the second value is taken with the current reversed
	x.EMF = quantity.Volt(nan)
	x.Sensor, x.Sensor2 = 100+0.15, 100-0.15
	a := newLoop(t, s).Assess(&x)
	if math.Abs(float64(a.EMF)-30e-6) > 1e-12 {
		t.Errorf("EMF from reversed readings %v V, want 30e-6", a.EMF)
	}
	if f = assessAndCheck(newLoop(t, s), &x); kinds(f) != "thermal-emf" || f[0].Severity != finding.OutOfSpec {
		t.Errorf("30 µV: %+v", f)
	}
}

func TestCheckSelfHeating(t *testing.T) {
	s := spec(t, wiring.FourWire)
	s.Accuracy.Current, s.Accuracy.Current2 = 1e-3, 2e-3
	l := newLoop(t, s)
	for theta, want := range map[float64]string{0.2: "", 2: "self-heating"} { // 0.02 and 0.2 K at 1 mA and 100 Ω against 0.15 °C of class A
		x := at(&s, 0, measure.Leads{0.5, 0.5, 0.5, 0.5})
		slope := s.Sensor.SlopeAt(0)
		x.Sensor = 100 + quantity.Ohm(slope)*quantity.Ohm(rtd.SelfHeating(100, 1e-3, theta))
		x.Sensor2 = 100 + quantity.Ohm(slope)*quantity.Ohm(rtd.SelfHeating(100, 2e-3, theta))
		if got := l.SelfHeating(&x); math.Abs(float64(got)-0.1*theta) > 1e-3*theta {
			t.Errorf("θ %v: %v K, want %v", theta, got, 0.1*theta)
		}
		if f := assessAndCheck(l, &x); kinds(f) != want {
			t.Errorf("θ %v: %+v, want %q", theta, f, want)
		}
	}
}

func TestCheckCurveMismatch(t *testing.T) {
	s := spec(t, wiring.FourWire)
	l := newLoop(t, s)
	other := sensor(t, "Pt100-3916")
	x := at(&s, 150, measure.Leads{0.5, 0.5, 0.5, 0.5})
	x.Reading = other.Inverse(x.Sensor, 0) // the transmitter is set to 3916
	f := assessAndCheck(l, &x)
	if kinds(f) != "curve-mismatch" || !strings.Contains(f[0].Evidence, "Pt100-3916") {
		t.Errorf("transmitter set to 3916: %+v", f)
	}
	x.Reading = 150.05 // rounded to a tenth
	if f = assessAndCheck(l, &x); len(f) != 0 {
		t.Errorf("rounded reading: %+v", f)
	}
	x.Reading = 158 // no curve explains it: trimmed, or of another moment
	if f = assessAndCheck(l, &x); len(f) != 0 {
		t.Errorf("a reading that no curve explains: %+v", f)
	}
}

// A wrong curve, a leak and a lead go differently with temperature.
func TestExplain(t *testing.T) {
	set := sensor(t, "Pt100")
	temps := []quantity.DegC{-80, -20, 20, 90, 150, 220}
	points := func(shown func(quantity.DegC) quantity.DegC) (out []diagnostics.Comparison) {
		for _, at := range temps {
			out = append(out, diagnostics.Comparison{Reference: at, Indicated: shown(at)})
		}
		return out
	}
	wrong := sensor(t, "Pt100-3916")
	e := diagnostics.Explain(set, points(func(at quantity.DegC) quantity.DegC { return set.Inverse(wrong.Forward(at), 0) }))
	if e.Kind != finding.CurveMismatch || e.Sensor != "Pt100-3916" {
		t.Errorf("wrong curve: %+v", e)
	}
	e = diagnostics.Explain(set, points(func(at quantity.DegC) quantity.DegC {
		r := set.Forward(at)
		return set.Inverse(r+wiring.Shunt(r, 50e3), 0)
	}))
	if e.Kind != finding.InsulationLeak || math.Abs(float64(e.Leak)-50e3) > 1 {
		t.Errorf("leak: %+v", e)
	}
	e = diagnostics.Explain(set, points(func(at quantity.DegC) quantity.DegC { return set.Inverse(set.Forward(at)+0.2, 0) }))
	if e.Kind != finding.Imbalance || math.Abs(float64(e.Lead)-0.2) > 1e-9 {
		t.Errorf("lead: %+v", e)
	}
	noise := []quantity.DegC{0.05, -0.04, 0.06, -0.05, 0.04, -0.06}
	i := -1
	if e = diagnostics.Explain(set, points(func(at quantity.DegC) quantity.DegC { i++; return at + noise[i] })); e.Kind != "" {
		t.Errorf("noise was explained: %+v", e)
	}
	if e = diagnostics.Explain(set, points(func(at quantity.DegC) quantity.DegC { return at + 1 })[:2]); e.Kind != "" {
		t.Errorf("two points were explained: %+v", e)
	}
}

// Every finding file is in the list, with advice.
func TestEveryFindingHasAdvice(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, f := range files {
		name, ok := strings.CutPrefix(f.Name(), "finding_")
		if !ok || strings.HasSuffix(name, "_test.go") {
			continue
		}
		n++
		kind := finding.Kind(strings.ReplaceAll(strings.TrimSuffix(name, ".go"), "_", "-"))
		if diagnostics.Advice(kind) == "" {
			t.Errorf("%s: no advice for %s; is it in the list of checks?", f.Name(), kind)
		}
	}
	if n < 7 {
		t.Errorf("%d finding files seen", n)
	}
}

func TestCheckAllocatesNothingWhenSound(t *testing.T) {
	s := spec(t, wiring.FourWire)
	s.LimitHigh, s.LimitLow, s.LeadLimit = 0.25, -0.25, 20
	l := newLoop(t, s)
	x := at(&s, 80, measure.Leads{0.5, 0.51, 0.5, 0.52})
	a := l.Assess(&x)
	out := make([]finding.Finding, 0, 4)
	if n := testing.AllocsPerRun(500, func() { out = l.Check(&x, &a, out[:0]) }); n != 0 || len(out) != 0 {
		t.Errorf("%v allocations, findings %v", n, out)
	}
}
