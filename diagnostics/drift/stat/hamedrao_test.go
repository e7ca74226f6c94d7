package stat

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Factors, variances and Z for the rainfall series are those in the tests of the
// package of JOSS 4(39) 1556 (2019); those for the Nile were computed from the
// same formula in another program. The slope of the rainfall is −1/155 exactly
// (printed as −0.0064516129): its ranks have ties.
func TestHamedRao(t *testing.T) {
	var rain []float64
	for _, x := range column(t, "mk_rainfall.csv", "value") {
		if !math.IsNaN(x) {
			rain = append(rain, x)
		}
	}
	nile := column(t, "nile.csv", "flow")
	for _, test := range []struct {
		name      string
		x         []float64
		slope     float64
		lags      int
		factor    float64
		variance  float64
		score     float64
		withinVar float64
		within    float64
	}{
		{"rainfall, 3 lags", rain, -1.0 / 155, 3, 2.9094873932, 14226812.425139, -0.519109390, 0.05, 1e-8},
		{"rainfall, all lags", rain, -1.0 / 155, 352, 0.0526408788, 257403.386785, -3.859273515, 0.01, 1e-8},
		{"Nile, 1 lag", nile, -2.6, 1, 1.6914992679, 190679.893307, -3.174028194, 0.01, 1e-8},
		{"Nile, 3 lags", nile, -2.6, 3, 2.5025778324, 282111.428078, -2.609473499, 0.01, 1e-8},
		{"Nile, all lags", nile, -2.6, 99, 2.1428983271, 241565.356917, -2.819979196, 0.01, 1e-8},
	} {
		s, v, _ := Kendall(test.x)
		f := inflation(test.x, test.slope, test.lags)
		z := (float64(s) + 1) / math.Sqrt(v*f) // both fall
		if math.Abs(f-test.factor) > test.within || math.Abs(v*f-test.variance) > test.withinVar || math.Abs(z-test.score) > test.within {
			t.Errorf("%s: factor %.10f variance %.6f Z %.9f, want %.10f %.6f %.9f", test.name, f, v*f, z, test.factor, test.variance, test.score)
		}
		if got := HamedRao(test.x, test.slope, test.lags); got != max(1, f) {
			t.Errorf("%s: HamedRao %g, want %g: a season must not make a trend", test.name, got, max(1, f))
		}
	}
}

// The factor is a finite number from 1 on whatever comes in, and it does not ask
// where the series lies or in what unit it is.
func TestHamedRaoLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-50, 50), func(i int) float64 { return float64(i) }), 0, 40).Draw(t, "x")
		lags := rapid.IntRange(0, 50).Draw(t, "lags")
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = 8*v + 1024
			if rapid.IntRange(0, 9).Draw(t, "missing") == 0 {
				x[i], y[i] = math.NaN(), math.NaN()
			}
		}
		f, g := HamedRao(x, 0, lags), HamedRao(y, 0, lags)
		if f != g || !(f >= 1) || math.IsInf(f, 0) {
			t.Fatalf("factor %g, of 8x + 1024 %g", f, g)
		}
	})
}
