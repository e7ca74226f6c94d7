package drift

import (
	"math"
	"slices"
)

// scatter are normal quantiles, seven of equal weight.
var scatter = [...]float64{-1.465, -0.792, -0.366, 0, 0.366, 0.792, 1.465}

// candidate is one moment of passing, days from now, with its weight.
type candidate struct{ t, w float64 }

// The spread that the fits leave is stretched on a logarithmic scale, since real
// contacts follow none of the courses exactly: so much that 80 % intervals cover
// 80 % on simulated plants (README).
const (
	widen     = 1.2
	narrowest = 1.15 // p90 over p50 before that: a day begins and ends when it does
	soonest   = 0.25 // days: a finding speaks four times a day at most
)

// from turns weighted moments of passing into a forecast.
func (o outlook) from(c []candidate) outlook {
	p10, p50, p90 := quantiles(c)
	p50 = max(p50, soonest)
	p10, p90 = max(min(p10, p50/narrowest), 0.02), max(p90, p50*narrowest)
	o.State = outlookDated
	if p50 > horizon {
		o.State = outlookFar
	}
	o.P10, o.P50, o.P90 = float32(p50*math.Pow(p10/p50, widen)), float32(p50), float32(p50*math.Pow(p90/p50, widen))
	return o
}

// quantiles returns the weighted 10 %, 50 % and 90 % quantiles; it sorts c.
func quantiles(c []candidate) (p10, p50, p90 float64) {
	slices.SortFunc(c, func(a, b candidate) int {
		switch {
		case a.t < b.t:
			return -1
		case a.t > b.t:
			return 1
		}
		return 0
	})
	total := 0.0
	for i := range c {
		total += c[i].w
	}
	at := func(q float64) float64 {
		sum := 0.0
		for i := range c {
			if sum += c[i].w; sum >= q*total {
				return max(c[i].t, 0)
			}
		}
		return max(c[len(c)-1].t, 0)
	}
	return at(0.1), at(0.5), at(0.9)
}
