package drift

import "testing"

// A lead that rounding holds still while the copper factor moves fits a slope of
// minus its whole copper. The factor that it tells must stay finite.
func TestRoundingLeavesASlopeToDivideBy(t *testing.T) {
	c := chState{Base: 0.24}
	for i := range 400 {
		f := 1 + 0.06*float64(i%2)
		c.Fit.add(f, 0.24-f*c.Base)
	}
	for _, r := range []float64{0.22, 0.26} {
		a, b := c.Fit.line(steepest * c.Base)
		if x := c.ratio(r, a, b); x < 0.7 || x > 1.3 {
			t.Errorf("a lead of %.2f Ω tells a factor of %.2f, want near 1", r, x)
		}
	}
}
