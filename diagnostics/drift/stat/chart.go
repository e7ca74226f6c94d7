package stat

import "math"

// EWMA returns the exponentially weighted moving average z after one more value:
// z + λ (x − z), λ in (0, 1].
func EWMA(z, x, lambda float64) float64 { return z + lambda*(x-z) }

// EWMALimit returns how far an EWMA of i independent values with standard
// deviation sigma may be from its mean at width l; i = 0 gives the limit for
// many values.
func EWMALimit(sigma, lambda, l float64, i int) float64 {
	v := lambda / (2 - lambda)
	if i > 0 {
		v *= 1 - math.Pow(1-lambda, 2*float64(i))
	}
	return l * sigma * math.Sqrt(v)
}

// Cusum is a two-sided cumulative sum of deviations from Target beyond Slack.
// The zero value with Target and Slack set is ready.
type Cusum struct {
	Target, Slack float64
	High, Low     float64
	RunHigh       int // values since High was last zero
}

// Add takes one value.
func (c *Cusum) Add(x float64) {
	c.High = max(0, c.High+x-c.Target-c.Slack)
	c.Low = max(0, c.Low+c.Target-x-c.Slack)
	if c.RunHigh++; c.High == 0 {
		c.RunHigh = 0
	}
}
