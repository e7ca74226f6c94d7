package stat

import (
	"math"
	"slices"
)

// Kendall returns Mann–Kendall's S, its variance with ties, and Z with
// continuity correction, of values in the order of time. NaN are left out.
func Kendall(x []float64) (s int, variance, z float64) {
	n := 0
	ties := map[float64]int{}
	for i, a := range x {
		if math.IsNaN(a) {
			continue
		}
		n++
		ties[a]++
		for _, b := range x[i+1:] {
			switch {
			case b > a:
				s++
			case b < a:
				s--
			}
		}
	}
	f := func(n float64) float64 { return n * (n - 1) * (2*n + 5) / 18 }
	variance = f(float64(n))
	for _, t := range ties {
		variance -= f(float64(t))
	}
	switch {
	case s > 0:
		z = float64(s-1) / math.Sqrt(variance)
	case s < 0:
		z = float64(s+1) / math.Sqrt(variance)
	}
	return s, variance, z
}

// TheilSen returns the median of the slopes between all pairs of points; NaN
// are left out.
func TheilSen(x, y []float64) float64 {
	var slopes []float64
	for i := range x {
		for j := range i {
			if b := (y[i] - y[j]) / (x[i] - x[j]); !math.IsNaN(b) && !math.IsInf(b, 0) {
				slopes = append(slopes, b)
			}
		}
	}
	n := len(slopes)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(slopes)
	return (slopes[(n-1)/2] + slopes[n/2]) / 2
}
