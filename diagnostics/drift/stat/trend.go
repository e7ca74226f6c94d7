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

// normal975 is the quantile 0.975 of the normal distribution.
const normal975 = 1.959963985

// TheilSen returns the median of the slopes between all pairs of points and its
// 95 % interval by Sen 1968, from the variance of Mann–Kendall's S. It counts the
// points as independent. NaN are left out.
func TheilSen(x, y []float64) (slope, low, high float64) {
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
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(slopes)
	_, variance, _ := Kendall(y)
	c := normal975 * math.Sqrt(variance)
	rank := func(r float64) float64 { return slopes[min(max(int(math.Round(r)), 0), n-1)] }
	return (slopes[(n-1)/2] + slopes[n/2]) / 2, rank((float64(n)-c)/2 - 1), rank((float64(n) + c) / 2)
}
