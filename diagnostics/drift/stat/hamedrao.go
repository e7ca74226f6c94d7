package stat

import (
	"cmp"
	"math"
	"slices"
)

// HamedRao returns by what factor the variance of Mann–Kendall's S grows because
// values hang together (Hamed and Rao 1998): from those of the first lags
// autocorrelations of the ranks of x less its trend that are significant at 5 %.
// slope is that of the trend, per value. NaN are left out and gaps closed.
//
// The factor is at least 1: over many lags a season makes the sum negative, and
// a trend out of nothing.
func HamedRao(x []float64, slope float64, lags int) float64 {
	return max(1, inflation(x, slope, lags))
}

func inflation(x []float64, slope float64, lags int) float64 {
	var d []float64
	for _, v := range x {
		if !math.IsNaN(v) {
			d = append(d, v-slope*float64(len(d)+1))
		}
	}
	if len(d) < 3 {
		return 1
	}
	r, n := ranks(d), float64(len(d))
	sum := 0.0
	for i := 1; i <= min(lags, len(d)-1); i++ {
		if a := autocorrelation(r, i); math.Abs(a) > normal975/math.Sqrt(n) {
			k := n - float64(i)
			sum += k * (k - 1) * (k - 2) * a
		}
	}
	return 1 + 2*sum/(n*(n-1)*(n-2))
}

// ranks returns the rank of each value, ties sharing their mean.
func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	r := make([]float64, len(x))
	for i := 0; i < len(x); {
		j := i
		for j < len(x) && x[order[j]] == x[order[i]] {
			j++
		}
		for _, k := range order[i:j] {
			r[k] = float64(i+j+1) / 2
		}
		i = j
	}
	return r
}

// autocorrelation returns that of x at a lag, 0 where x is constant.
func autocorrelation(x []float64, lag int) float64 {
	mean := 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	num, den := 0.0, 0.0
	for i, v := range x {
		den += (v - mean) * (v - mean)
		if i >= lag {
			num += (v - mean) * (x[i-lag] - mean)
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}
