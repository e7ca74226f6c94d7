package replay

import (
	"fmt"
	"math"
	"strings"
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/drift/stat"
	"ohmdrift/diagnostics/measure"
)

// A second opinion on the contact parts that the engine saw, from textbook
// statistics of their daily means. It decides nothing; an engineer can repeat it
// from the CSV.
const (
	opinionLearn = 21  // days whose mean and scatter are the reference
	opinionTrend = 28  // days of the trend
	opinionLags  = 3   // of its correction for days that hang together
	cusumK       = 0.5 // in standard deviations: a shift of one is looked for
	cusumH       = 5   // false once in 465 days, were the days independent
	ewmaLambda   = 0.1
	ewmaL        = 2.7    // false once in 369 days
	leastScatter = 0.0001 // Ω: below, the scatter is that of rounding
)

// opinion is what the statistics say about one lead; empty while there are too
// few days.
func opinion(days []time.Time, ohm []float64) string {
	if len(ohm) < opinionLearn+3 {
		return ""
	}
	mean, sigma := moments(ohm[:opinionLearn])
	if math.IsNaN(mean) {
		return ""
	}
	sigma = max(sigma, leastScatter)
	c, z := stat.Cusum{Slack: cusumK}, 0.0
	cusum, ewma := "no", "no"
	n := 0
	for i, x := range ohm[opinionLearn:] {
		if math.IsNaN(x) {
			continue
		}
		n++
		day := opinionLearn + i
		d := (x - mean) / sigma
		if c.Add(d); cusum == "no" && max(c.High, c.Low) > cusumH {
			if cusum = days[day].Format(time.DateOnly); c.High > cusumH {
				cusum += ", begun by " + days[max(day-c.RunHigh+1, 0)].Format(time.DateOnly)
			}
		}
		if z = stat.EWMA(z, d, ewmaLambda); ewma == "no" && math.Abs(z) > stat.EWMALimit(1, ewmaLambda, ewmaL, n) {
			ewma = days[day].Format(time.DateOnly)
		}
	}
	slope, low, high, p := rise(ohm[max(0, len(ohm)-opinionTrend):])
	text := fmt.Sprintf("daily means, ±%.2f mΩ in the first %d days. CUSUM: %s. EWMA: %s. Last %d days: %+.2f mΩ a day (median slope, 95 %% %.2f to %.2f), Mann–Kendall p %.1g",
		sigma*1e3, opinionLearn, cusum, ewma, opinionTrend, slope*1e3, low*1e3, high*1e3, p)
	return strings.NewReplacer("-0.00", "0.00", "+0.00", "0.00", " -", " −", "e-", "e−").Replace(text)
}

// rise returns the slope of a series in Ω a day with its interval, and how likely such a trend is
// without one, days that hang together counted for what they are.
func rise(ohm []float64) (slope, low, high, p float64) {
	day := make([]float64, len(ohm))
	for i := range day {
		day[i] = float64(i)
	}
	slope, low, high = stat.TheilSen(day, ohm)
	_, _, z := stat.Kendall(ohm)
	z /= math.Sqrt(stat.HamedRao(ohm, slope, opinionLags))
	return slope, low, high, math.Erfc(math.Abs(z) / math.Sqrt2)
}

// moments returns mean and standard deviation of the numbers in x; NaN where
// there are fewer than three.
func moments(x []float64) (mean, sigma float64) {
	n, sum, sq := 0.0, 0.0, 0.0
	for _, v := range x {
		if v == v {
			n++
			sum += v
		}
	}
	if n < 3 {
		return math.NaN(), math.NaN()
	}
	for _, v := range x {
		if v == v {
			sq += (v - sum/n) * (v - sum/n)
		}
	}
	return sum / n, math.Sqrt(sq / (n - 1))
}

// daily averages the contact part of a lead over the blocks of each day; days
// without a block are NaN.
func daily(times []time.Time, views []drift.View, l measure.Lead) (days []time.Time, ohm []float64) {
	n := 0.0
	for i, t := range times {
		day := t.Add(-time.Second).Truncate(24 * time.Hour) // a block is named after its end
		for len(days) > 0 && days[len(days)-1].Before(day) {
			days, ohm, n = append(days, days[len(days)-1].Add(24*time.Hour)), append(ohm, math.NaN()), 0
		}
		if len(days) == 0 {
			days, ohm = append(days, day), append(ohm, math.NaN())
		}
		x, at := float64(views[i].Contact[l]), len(ohm)-1
		switch {
		case x != x:
		case n == 0:
			ohm[at], n = x, 1
		default:
			n++
			ohm[at] += (x - ohm[at]) / n
		}
	}
	return days, ohm
}
