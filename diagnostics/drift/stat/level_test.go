package stat

import (
	"math"
	"testing"
)

// localLevel is the Kalman filter of a random walk seen through noise: the level
// moves by a normal step of variance Step each time, a value is the level plus
// noise of variance Noise. It begins diffuse: the first value is the level.
type localLevel struct {
	Noise, Step float64
	Mean        float64 // prediction of the next value
	Variance    float64 // of the level that it predicts
	Likelihood  float64 // Σ log density of the values after the first
	begun       bool
}

// add takes a value and returns its innovation, the variance of that, and the
// gain; zeros for the first.
func (l *localLevel) add(y float64) (v, f, k float64) {
	if !l.begun {
		l.begun, l.Mean, l.Variance = true, y, l.Noise+l.Step
		return 0, 0, 0
	}
	v, f = y-l.Mean, l.Variance+l.Noise
	k = l.Variance / f
	l.Mean += k * v
	l.Variance = l.Variance*(1-k) + l.Step
	l.Likelihood -= (math.Log(2*math.Pi*f) + v*v/f) / 2
	return v, f, k
}

// Durbin and Koopman, Nile: variances 15099 and 1469.1; filtered values computed
// from an exact diffuse start in another program.
func TestLocalLevel(t *testing.T) {
	l := localLevel{Noise: 15099, Step: 1469.1}
	var v, f, k float64
	for i, y := range column(t, "nile.csv", "flow") {
		mean, variance := l.Mean, l.Variance
		v, f, k = l.add(y)
		switch i + 1 {
		case 2:
			near(t, "a2", mean, 1120, 1e-9)
			near(t, "P2", variance, 16568.1, 1e-6)
			near(t, "F2", f, 31667.1, 1e-6)
		case 10:
			near(t, "a10", mean, 1171.30118, 1e-5)
			near(t, "v10", v, -31.30118, 1e-5)
			near(t, "K10", k, 0.26831, 1e-5)
		case 29:
			near(t, "P29", variance, 5501.25821, 1e-5)
		}
	}
	near(t, "level after 1970", l.Mean, 798.37029, 1e-5)
	near(t, "gain of many", k, 0.2670480126, 1e-9)
	near(t, "log-likelihood", l.Likelihood, -632.5456251, 1e-6)
}

// An EWMA is the local-level filter in its steady state: with the gain as its
// weight it follows the filter exactly once that has settled. So its weight says
// what it takes for noise and what for movement.
func TestEWMAIsTheSettledFilter(t *testing.T) {
	l := localLevel{Noise: 15099, Step: 1469.1}
	flow := column(t, "nile.csv", "flow")
	z := 0.0
	for i, y := range flow {
		l.add(y)
		if i < 40 {
			z = l.Mean
			continue
		}
		z = EWMA(z, y, 0.2670480126)
	}
	near(t, "EWMA after 60 years on its own", z, l.Mean, 1e-6)
}
