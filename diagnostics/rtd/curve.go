package rtd

import "math"

// curve is the ratio w = R/R0 as a function of t. One implementation per
// family stands behind functions rather than an interface: the set is closed.
type curve struct {
	low, high float64 // °C, both ends included
	wLow      float64 // ratio at low
	wHigh     float64
	form      form
	c         [6]float64 // coefficients, by form
	nodes     []node     // of a table
}

// form is the family of a curve's equation.
type form uint8

const (
	// cvd is Callendar–Van Dusen: 1 + A t + B t² + C (t − 100) t³, C below 0 °C only; c = A B C.
	cvd form = iota
	// copperGOST is 1 + A t, and below 0 °C + B t (t + c) + C t³; c = A B c C.
	copperGOST
	// nickelGOST is 1 + A t + B t², and above 100 °C + C (t − 100) t²; c = A B C.
	nickelGOST
	// nickelDIN is 1 + A t + B t² + D t⁴ + F t⁶; c = A B D F.
	nickelDIN
	// table is a monotone cubic through nodes.
	table
)

// newCurve completes c with the ratios at its ends.
func newCurve(c curve) *curve {
	c.wLow, c.wHigh = c.ratio(c.low), c.ratio(c.high)
	return &c
}

func (c *curve) holds(t float64) bool { return t >= c.low && t <= c.high }

// ratio returns R/R0 at t.
func (c *curve) ratio(t float64) float64 {
	switch c.form {
	case cvd:
		w := 1 + t*(c.c[0]+t*c.c[1])
		if t < 0 {
			w += c.c[2] * (t - 100) * t * t * t
		}
		return w
	case copperGOST:
		w := 1 + c.c[0]*t
		if t < 0 {
			w += c.c[1]*t*(t+c.c[2]) + c.c[3]*t*t*t
		}
		return w
	case nickelGOST:
		w := 1 + t*(c.c[0]+t*c.c[1])
		if t > 100 {
			w += c.c[2] * (t - 100) * t * t
		}
		return w
	case nickelDIN:
		q := t * t
		return 1 + t*c.c[0] + q*(c.c[1]+q*(c.c[2]+q*c.c[3]))
	}
	return c.tableRatio(t)
}

// slope returns d(R/R0)/dt at t in 1/K.
func (c *curve) slope(t float64) float64 {
	switch c.form {
	case cvd:
		s := c.c[0] + 2*c.c[1]*t
		if t < 0 {
			s += c.c[2] * (4*t - 300) * t * t
		}
		return s
	case copperGOST:
		s := c.c[0]
		if t < 0 {
			s += c.c[1]*(2*t+c.c[2]) + 3*c.c[3]*t*t
		}
		return s
	case nickelGOST:
		s := c.c[0] + 2*c.c[1]*t
		if t > 100 {
			s += c.c[2] * (3*t - 200) * t
		}
		return s
	case nickelDIN:
		q := t * t
		return c.c[0] + t*(2*c.c[1]+q*(4*c.c[2]+6*q*c.c[3]))
	}
	return c.tableSlope(t)
}

// roundingSlack lets R(end) invert to the end in spite of the last bits.
const roundingSlack = 1e-12

// inverse returns t for the ratio w, NaN outside the curve by more than half
// the resolution (a ratio too).
func (c *curve) inverse(w, resolution float64) float64 {
	slack := roundingSlack
	if resolution > 0 && !math.IsInf(resolution, 0) {
		slack += resolution / 2
	}
	switch {
	case w > c.wLow && w < c.wHigh:
	case w <= c.wLow && w >= c.wLow-slack:
		return c.low
	case w >= c.wHigh && w <= c.wHigh+slack:
		return c.high
	default:
		return math.NaN()
	}
	switch c.form {
	case cvd:
		return c.inverseCVD(w)
	case table:
		return c.inverseTable(w)
	case copperGOST:
		return c.newton((w-1)/c.c[0], w, copperSteps)
	}
	return c.newton(quadraticRoot(c.c[0], c.c[1], w-1), w, nickelSteps)
}

// How many Newton steps bring each family to the last bits of a float64 over
// its whole range (measured by TestInverseRoundTrip; a fixed count needs no
// loop condition).
const (
	cvdSteps    = 3
	copperSteps = 4
	nickelSteps = 5
)

func (c *curve) inverseCVD(w float64) float64 {
	t := quadraticRoot(c.c[0], c.c[1], w-1)
	if w >= 1 {
		return t
	}
	return c.newton(t, w, cvdSteps)
}

func (c *curve) newton(t, w float64, steps int) float64 {
	for range steps {
		t -= (c.ratio(t) - w) / c.slope(t)
	}
	return t
}

// quadraticRoot solves a t + b t² = x for the root near x/a, in the form that
// has no cancellation near 0.
func quadraticRoot(a, b, x float64) float64 {
	return 2 * x / (a + math.Sqrt(a*a+4*b*x))
}
