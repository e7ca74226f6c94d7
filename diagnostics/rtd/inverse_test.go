package rtd

import (
	"math"
	"testing"
)

// Below 0 °C the start from the quadratic and k Newton steps are this far off at
// most, over −200..0 °C; three steps reach the last bits (computed with 30
// digits for k ≤ 2).
func TestNewtonStepsBelowZero(t *testing.T) {
	c := platinum3851
	for k, want := range []float64{2.42, 2.5e-3, 2.7e-9, 1e-12} {
		worst := 0.0
		for i := range 4001 {
			at := -200 + float64(i)*0.05
			w := c.ratio(at)
			got := c.newton(quadraticRoot(c.c[0], c.c[1], w-1), w, k)
			worst = max(worst, math.Abs(got-at))
		}
		if worst > want*1.05 || k < 3 && worst < want*0.9 {
			t.Errorf("after %d steps off by %.3g °C, want %.3g", k, worst, want)
		}
	}
	if cvdSteps != 3 {
		t.Errorf("%d steps below 0 °C, want 3", cvdSteps)
	}
	// Forgetting C altogether: −2.42 °C at −200, −0.208 at −100, −0.020 at −50.
	for at, want := range map[float64]float64{-200: -2.42, -100: -0.208, -50: -0.020} {
		if got := quadraticRoot(c.c[0], c.c[1], c.ratio(at)-1) - at; math.Abs(got-want) > 0.005 {
			t.Errorf("without C at %v °C: %+.4f °C, want %+v", at, got, want)
		}
	}
}

// Linear interpolation of the Ni120 table is away from the monotone cubic by 1 Ω
// in its 50 °C steps: at 225 °C h/8·(d250 − d200) = 50/8·(1.3302 − 1.1696) =
// 1.004 Ω, with the slopes of the weighted harmonic mean by hand. (Without the
// 260 °C node d250 were 1.3527 and the figure 1.15 Ω.) In the 10 °C steps it is
// 0.045 Ω at most (90 to 100 °C, beside a wide step; 0.03 Ω elsewhere).
func TestLinearInterpolationWouldBeWrong(t *testing.T) {
	coarse, fine := 0.0, 0.0
	for i := range len(ni120Temps) - 2 {
		a, b := i, i+1
		for j := range 101 {
			x := float64(j) / 100
			at := ni120Temps[a] + x*(ni120Temps[b]-ni120Temps[a])
			d := math.Abs(nickel672.ratio(at)*120 - (ni120Ohms[a] + x*(ni120Ohms[b]-ni120Ohms[a])))
			switch {
			case ni120Temps[b]-ni120Temps[a] >= 50:
				coarse = max(coarse, d)
			case ni120Temps[a] >= -50 && ni120Temps[b] <= 100:
				fine = max(fine, d)
			}
		}
	}
	if math.Abs(coarse-1.004) > 0.01 || math.Abs(fine-0.045) > 0.002 {
		t.Errorf("linear interpolation off by %.3f Ω in wide steps and %.3f Ω in narrow ones, want about 1.004 and 0.045", coarse, fine)
	}
}
