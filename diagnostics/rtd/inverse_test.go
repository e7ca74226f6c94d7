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

// Published inverse polynomials for t < 0 °C in w − 1 (or R), and how far each
// is from the exact inverse at most: an independent check of the inverse.
func TestPublishedInversePolynomials(t *testing.T) {
	poly := func(x float64, d ...float64) float64 {
		sum := 0.0
		for i := len(d) - 1; i >= 0; i-- {
			sum = sum*x + d[i]
		}
		return sum
	}
	tests := []struct {
		name      string
		c         *curve
		low, high float64
		f         func(w float64) float64
		want      float64 // largest difference, °C
	}{
		{"ASTM E1137, also GOST 6651", platinum3851, -200, 0, func(w float64) float64 { return poly(w-1, 0, 255.819, 9.14550, -2.92363, 1.79090) }, 1.7e-3},
		{"fifth order in R", platinum3851, -200, 0, func(w float64) float64 {
			return poly(100*w, -242.02, 2.2228, 2.5859e-3, -4.8260e-6, -2.8183e-8, 1.5243e-10)
		}, 1.1e-3},
		{"GOST platinum 3911", platinum3911, -200, 0, func(w float64) float64 { return poly(w-1, 0, 251.903, 8.80035, -2.91506, 1.67611) }, 1.4e-3},
		{"GOST copper 428", copper428, -180, 0, func(w float64) float64 { return poly(w-1, 0, 233.87, 7.9370, -2.0062, -0.3953) }, 1.7e-3},
		{"GOST nickel 617 above 100 °C", nickel617, 100, 180, func(w float64) float64 { return 100 + poly(w-1.6172, 0, 144.096, -25.502, 4.4876) }, 2.1e-3},
	}
	for _, c := range tests {
		worst := 0.0
		for i := range 2001 {
			at := c.low + (c.high-c.low)*float64(i)/2000
			worst = max(worst, math.Abs(c.f(c.c.ratio(at))-c.c.inverse(c.c.ratio(at), 0)))
		}
		t.Logf("%s: %.2g °C", c.name, worst)
		if worst > c.want*1.1 {
			t.Errorf("%s differs by up to %.3g °C, want %.2g", c.name, worst, c.want)
		}
	}
}
