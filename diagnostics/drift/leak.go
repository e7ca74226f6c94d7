package drift

import "math"

// The leads of a loop do not carry the error of a shunt, so its size is not
// known, only the noise that it makes. What the noise does tell is how fast the
// leak grows, from a chart of three days over one of ten, and a leak that is
// seen at all is in the last part of its life: on simulated plants its noise
// comes up to that of the input near the limit. The spread about that is wide
// and stands in the interval.
const (
	// Of a noise variance growing e-fold every 1/g days, the two charts of mean
	// age 1/w (in days 3.0 and 9.9) show the ratio (1 + 9.9·g)/(1 + 3.0·g).
	leakFastAge = (1 - fastWeight) / fastWeight / 4 // days; four blocks a day
	leakSlowAge = (1 - slowWeight) / slowWeight / 4
	leakSlow    = 0.07 // a day: slower growth is not told from none
	leakQuick   = 0.5  // a day: what three days can follow
	// The time left, fitted on simulated leaks: it falls with the growth and
	// with the noise reached.
	leakDays  = 6.0  // days, at a growth of one a day
	leakRef   = 0.37 // noise variance over that of the baseline: the median leak at half its life
	leakPower = 0.35
	leakLeast = 0.05 // variance below which the noise says nothing about the time left
	// Quantiles of true over estimated time left on the same leaks.
	leakEarly = 0.55
	leakHalf  = 1.2
	leakLate  = 2.6
)

// foreseeLeak makes the forecast of a loop with a shunt. A shunt makes the
// resistance and with it the reading low (common practice), so the lower limit
// is the one that is left.
func (e *Engine) foreseeLeak() outlook {
	o := outlook{At: e.s.Last, Side: -1, State: outlookCannot}
	if math.IsNaN(float64(e.m.spec.LimitLow)) {
		return o
	}
	g, v := e.s.Hiss.growth()
	if !(g > 0) {
		return o
	}
	t := math.Sqrt(leakDays/min(max(g, leakSlow), leakQuick)) * math.Pow(leakRef/max(v, leakLeast), leakPower)
	o.State = outlookDated
	o.P10, o.P50, o.P90 = float32(leakEarly*t), float32(leakHalf*t), float32(leakLate*t)
	return o
}

// growth returns the growth of the added noise variance per day (1 is e-fold)
// and that variance as a multiple of the baseline's.
func (h *hissState) growth() (g, v float64) {
	v = math.Expm1(2 * float64(h.Fast.Level))
	slow := math.Expm1(2 * float64(h.Slow.Level))
	if !(v > 0) || !(slow > 0) {
		return math.NaN(), v
	}
	r := v / slow
	if r >= leakSlowAge/leakFastAge {
		return leakQuick, v
	}
	return (r - 1) / (leakSlowAge - leakFastAge*r), v
}
