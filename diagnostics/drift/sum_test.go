package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// oneSum runs a loop that reports b1 + b2 alone for 100 days beside neighbours
// that follow the day and the season by ±8 K each; its own cable follows the
// season by the given multiple of that. contact is what the sum has beyond it.
func oneSum(t *testing.T, season float64, contact func(d float64) float64) []finding.Finding {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
	c := newCable(31)
	var out []finding.Finding
	for i := range 100 * perDay {
		d := float64(i) / perDay
		day, year := 0.03*math.Sin(2*math.Pi*(d-0.4)), 0.03*math.Sin(2*math.Pi*d/365.25)
		s := c.at(e.m.spec, i)
		s.LoopB += quantity.Ohm(contact(d) + 1.001*season*year)
		out = e.Step(&s, &Neighbour{Loops: 2, Factor: 1 + day + year}, out)
	}
	return counted(out)
}

// Of a single sum the neighbours tell the copper, so a contact of a few percent
// of it is seen, with no lead named: here a tenth of 1 Ω, when spring has come;
// what spring does to a cable alone in the sun must not be taken for one.
func TestSumIsHeldAgainstItsNeighbours(t *testing.T) {
	out := oneSum(t, 1, func(d float64) float64 { return 0.002 * max(0, d-50) })
	if len(out) == 0 {
		t.Fatal("a contact of 100 mΩ in a sum of 1 Ω is not seen")
	}
	if f := out[0]; f.Kind != finding.LeadDrift || f.Leads != 0 || float64(f.Contact) > 0.12 {
		t.Errorf("%s %v at %s: want lead-drift of less than 120 mΩ, no lead named", f.Kind, f.Leads.Names(), ohms(float64(f.Contact)))
	}
	for _, season := range []float64{0, 1, 2.3} {
		if out := oneSum(t, season, func(float64) float64 { return 0 }); len(out) != 0 {
			t.Errorf("a sound cable that follows the season %g times as much: %s", season, out[0].Evidence)
		}
	}
	if out := oneSum(t, 1, func(d float64) float64 { return 0.0002 * max(0, d-50) }); len(out) != 0 {
		t.Errorf("10 mΩ in a sum of 1 Ω are 2.5 K of copper, and yet: %s", out[0].Evidence)
	}
}
