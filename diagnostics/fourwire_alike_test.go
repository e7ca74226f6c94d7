package diagnostics

import (
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// Where the leads are alike none of the tests of lead against lead finds anything.
func TestAlikeLeadsHideNoJumper(t *testing.T) {
	pt100, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	s := NewSpec("TT-1")
	s.Sensor, s.Wires, s.Method, s.Reports = pt100, 4, wiring.FourWire, wiring.AllLeads
	alike := 0
	rapid.Check(t, func(rt *rapid.T) {
		s.Accuracy.Lead = quantity.Ohm(rapid.SampledFrom([]float64{0.0001, 0.005, 0.02}).Draw(rt, "accuracy"))
		l, err := NewLoop(s)
		if err != nil {
			rt.Fatal(err)
		}
		base := rapid.Float64Range(0.01, 10).Draw(rt, "base")
		var leads measure.Leads
		for i := range leads {
			leads[i] = quantity.Ohm(base * rapid.Float64Range(0.4, 1).Draw(rt, "share"))
		}
		if !l.alike(&leads) {
			return
		}
		alike++
		a := side{measure.A1, measure.A2, leads[measure.A1], leads[measure.A2]}
		b := side{measure.B1, measure.B2, leads[measure.B1], leads[measure.B2]}
		for _, try := range [...]func(x, y side) FourWireVerdict{l.oneLeadMissing, l.sideJumpered, l.sideHalved} {
			if v, w := try(a, b), try(b, a); !v.Sound() || !w.Sound() {
				rt.Errorf("leads %v are alike, and yet %+v, %+v", leads, v, w)
			}
		}
	})
	if alike < 5 {
		t.Errorf("%d sets of leads were alike: the test shows nothing", alike)
	}
}
