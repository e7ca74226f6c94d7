package drift

import (
	"math"
	"slices"
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// A lead that was made longer is told as that once, and its copper is no finding
// afterwards.
func TestASpliceIsToldOnce(t *testing.T) {
	for _, quarter := range []float64{0, 0.25, 0.5, 0.75} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(4)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40+quarter {
				v[measure.B2] *= 1.3
			}
		}
		fs := c.feed(e, 0, 80*perDay)
		i := slices.IndexFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.CableChanged })
		if i < 1 {
			t.Fatalf("%g: the splice was not told: %v", quarter, printed(fs))
		}
		if was := fs[i-1]; was.State != finding.Cleared || strings.Contains(fs[i].Evidence, was.Evidence) {
			t.Errorf("%g: %s %s before the note in its own words: %s", quarter, was.Kind, was.State, was.Evidence)
		}
		for _, f := range fs[i+1:] {
			if f.State != finding.Cleared {
				t.Errorf("%g: %s after the splice was learnt: %s", quarter, f.Kind, f.Evidence)
			}
		}
	}
}

// What a lead was made longer by is learnt as long as it is at whatever hour of the
// day: else the rest of it is "made good" some days later.
func TestASpliceIsLearntAtItsLength(t *testing.T) {
	const longer = 0.15
	for hour := range 4 {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		var p picture
		for i := range recent {
			p.f = 1 + 0.03*math.Sin(math.Pi/2*float64(i+hour)+0.4) // ±8 K a day
			push(&e.s.Copper.Ring, p.f)
			push(&e.s.Ch[2].U, longer*p.f)
		}
		e.s.Ch[2].UN, e.s.Copper.N = recent, recent
		p.level[2] = e.s.Ch[2].level(8)
		if got := e.longer(2, &p); math.Abs(got-longer) > 0.0005 {
			t.Errorf("block %d of the day: learnt as %s, is %s", hour, ohms(got), ohms(longer))
		}
	}
}
