package drift

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The powers of the courses and the roots of chances are those of math.Pow, which
// is the reference here, to the last bit.
func TestPowersAreThoseOfTheLibrary(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := rapid.Float64Range(1e-6, 1).Draw(rt, "x")
		for i := range courses {
			if c := &courses[i]; c.law == power {
				if got, want := c.at(x, math.Log(x)), math.Pow(x, c.p); got != want {
					rt.Errorf("%v^%v = %v, want %v", x, c.p, got, want)
				}
			}
		}
		n := rapid.OneOf(rapid.Float64Range(1, 1000), rapid.SampledFrom([]float64{1, 2, 3, 4})).Draw(rt, "n")
		for _, r := range ranks {
			if got, want := r.root(n), math.Pow(r.u, 1/n); got != want {
				rt.Errorf("%v^(1/%v) = %v, want %v", r.u, n, got, want)
			}
		}
	})
}
