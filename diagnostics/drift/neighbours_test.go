package drift

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/wiring"
)

// Each loop of a box hears the median of the others alone, whoever is known and
// however many are equal.
func TestNeighboursAreTheOthers(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		factor := rapid.OneOf(rapid.Float64Range(0.8, 1.3), rapid.SampledFrom([]float64{1, math.NaN()}))
		factors := rapid.SliceOfN(factor, 1, 9).Draw(rt, "factors")
		var specs []*diagnostics.Spec
		for range factors {
			s := testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads)
			s.Box = "JB-1"
			specs = append(specs, s)
		}
		site := NewSite(specs)
		for i, f := range factors {
			site.Put(i, Published{Factor: f})
		}
		site.Mark(testStart, nil)
		for i := range factors {
			others := slices.DeleteFunc(slices.Delete(slices.Clone(factors), i, i+1), math.IsNaN)
			slices.Sort(others)
			want := Neighbour{Loops: len(others)}
			if n := len(others); n > 0 {
				want.Factor = (others[(n-1)/2] + others[n/2]) / 2
			}
			if got := *site.Neighbour(i); got != want {
				rt.Errorf("of %v loop %d hears %v, want %v", factors, i, got, want)
			}
		}
	})
}
