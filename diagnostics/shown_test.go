package diagnostics_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// What is shown without words is what Check finds, and Find finds the same.
func TestShownIsWhatCheckFinds(t *testing.T) {
	kinds := diagnostics.CheckKinds()
	seen := map[finding.Kind]int{}
	rapid.Check(t, func(rt *rapid.T) {
		method := rapid.SampledFrom([]wiring.Method{wiring.FourWire, wiring.ThreeWireDual, wiring.DeviceCorrected}).Draw(rt, "method")
		s := spec(t, method)
		s.LimitHigh, s.LimitLow, s.LeadLimit = 0.25, -0.25, 5
		s.Accuracy.Current, s.Accuracy.Current2 = 1e-3, 2e-3
		if method == wiring.FourWire && rapid.Bool().Draw(rt, "sums") {
			s.Reports = wiring.LoopsOnly
		}
		lead := rapid.OneOf(rapid.Float64Range(0, 6), rapid.SampledFrom([]float64{0.002, 0.5, 1, 4.99, 5}))
		leads := measure.Leads{}
		for i := range leads {
			leads[i] = quantity.Ohm(lead.Draw(rt, "lead"))
		}
		x := at(&s, 20, leads)
		x.LoopA, x.LoopB = leads[0]+leads[1], leads[2]+leads[3]
		x.Reading = quantity.DegC(rapid.SampledFrom([]float64{20, 21, 25, 19, math.NaN()}).Draw(rt, "reading"))
		x.EMF = quantity.Volt(rapid.SampledFrom([]float64{0, 1e-6, 30e-6, math.NaN()}).Draw(rt, "emf"))
		x.Sensor2 = x.Sensor + quantity.Ohm(rapid.SampledFrom([]float64{0, 0.2, math.NaN()}).Draw(rt, "second"))
		l := newLoop(t, s)
		a := l.Assess(&x)
		found := map[finding.Kind]string{}
		for _, f := range l.Check(&x, &a, nil) {
			found[f.Kind] = f.Evidence
			seen[f.Kind]++
		}
		shown := l.Shown(&x, &a)
		for i, k := range kinds {
			f, ok := l.Find(k, &x, &a)
			if evidence, want := found[k]; shown.Has(i) != want || ok != want || ok && f.Evidence != evidence {
				rt.Errorf("%s: shown %v, found %v %q; Check finds %v %q", k, shown.Has(i), ok, f.Evidence, want, evidence)
			}
		}
	})
	for _, k := range []finding.Kind{finding.NotFourWire, finding.LeadLimit, finding.Imbalance, finding.ThermalEMF, finding.SelfHeating} {
		if seen[k] == 0 {
			t.Errorf("%s was never found: the test shows nothing of it", k)
		}
	}
}
