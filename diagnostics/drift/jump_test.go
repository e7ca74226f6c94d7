package drift

import (
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// A cable that is changed some hours after a burst of steam: the jump that came back
// must not hide the one that stays.
func TestAJumpThatCameBackHidesNoOther(t *testing.T) {
	for _, after := range []float64{0.02, 0.2, 0.455, 0.47} { // days; the last two at the end of the block in which the first is judged
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(9)
		const steam = 40.02 // begin of the block and a little
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			for k := range v {
				switch {
				case d > steam+after:
					v[k] *= 1.25
				case d > steam && d < steam+0.01:
					v[k] *= 1.06
				}
			}
		}
		out := c.feed(e, 0, 60*perDay)
		if !slices.ContainsFunc(out, func(f finding.Finding) bool { return f.Kind == finding.CableChanged }) {
			t.Errorf("%g days after it: no other cable: %v", after, printed(out))
		}
		if bad := counted(out); len(bad) > 0 {
			t.Errorf("%g days after it: %v", after, printed(bad))
		}
	}
}
