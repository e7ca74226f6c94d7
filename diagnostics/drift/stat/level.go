package stat

import "math"

// LocalLevel is the Kalman filter of a random walk seen through noise: the level
// moves by a normal step of variance Step each time, a value is the level plus
// noise of variance Noise. It begins diffuse: the first value is the level.
type LocalLevel struct {
	Noise, Step float64
	Mean        float64 // prediction of the next value
	Variance    float64 // of the level that it predicts
	Likelihood  float64 // Σ log density of the values after the first
	begun       bool
}

// Add takes a value and returns its innovation, the variance of that, and the
// gain; zeros for the first.
func (l *LocalLevel) Add(y float64) (v, f, k float64) {
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
