package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// Of two leads without the third, one goes bad in an open box: its contact grows
// to several times its copper and damp takes a fifth off it for days. It is
// named, and the sound one beside it never.
func TestDampContactOfAPairLeavesTheOtherAlone(t *testing.T) {
	for _, l := range []measure.Lead{measure.B1, measure.B2} {
		for seed := range uint64(3) {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
			c := newCable(seed)
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				v[l] += 0.03 * max(0, d-30) * (1 + 0.2*math.Sin(2*math.Pi*d/6.3))
			}
			named := false
			for _, f := range counted(run(e, &c, 0, 120*perDay)) {
				named = named || f.Leads == finding.LeadsOf(l)
				if f.Leads&^finding.LeadsOf(l) != 0 {
					t.Errorf("%s bad, seed %d: %s named on %v: %s", l, seed, f.Leads.Names(), f.Time, f.Evidence)
					break
				}
			}
			if !named {
				t.Errorf("%s bad, seed %d: not found", l, seed)
			}
		}
	}
}
