package stat

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// Lucas and Crosier 1982, k 0.5, h 5, without a head start: the sums are what the
// recursion gives by hand; the year and the example are from memory. The first
// above 5 is the seventh.
func TestCusumLucasCrosier(t *testing.T) {
	c := Cusum{Slack: 0.5}
	want := []float64{0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0}
	for i, x := range []float64{0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6} {
		c.Add(x)
		near(t, "sum "+strconv.Itoa(i+1), c.High, want[i], 1e-9)
	}
}

// Mean run lengths of a two-sided CUSUM, k 0.5, by integral equation (R package
// spc); here simulated, within four standard errors.
func TestCusumRunLengths(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, tt := range []struct{ h, shift, want float64 }{
		{4, 0, 167.68}, {4, 1, 8.383}, {4.77, 1, 9.917}, {5, 0.5, 38.00}, {5, 1, 10.376}, {5, 2, 4.009},
	} {
		const runs = 5000
		sum, sq := 0.0, 0.0
		for range runs {
			c, n := Cusum{Slack: 0.5}, 0.0
			for c.High <= tt.h && c.Low <= tt.h {
				c.Add(r.NormFloat64() + tt.shift)
				n++
			}
			sum, sq = sum+n, sq+n*n
		}
		mean := sum / runs
		near(t, "run length", mean, tt.want, 4*math.Sqrt((sq/runs-mean*mean)/runs))
	}
}
