package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// normalCoverage is the 97.5 % quantile of the normal distribution.
const normalCoverage = 1.959963984540054

// coverageStep is the spacing of coverageTable in excess kurtosis, from
// rectKurtosis to 0.
const coverageStep = 0.05

var coverageTable = newCoverageTable()

// newCoverageTable computes k for symmetric Pearson II distributions: a beta
// distribution with equal shapes a has the excess kurtosis −6/(2a + 3) and the
// variance 1/(4(2a + 1)).
func newCoverageTable() [25]float64 {
	var t [25]float64
	for i := range t {
		kurtosis := rectKurtosis + coverageStep*float64(i)
		if i == len(t)-1 {
			t[i] = normalCoverage
			continue
		}
		a := (-6/kurtosis - 3) / 2
		q := distuv.Beta{Alpha: a, Beta: a}.Quantile(0.975)
		t[i] = (q - 0.5) * 2 * math.Sqrt(2*a+1)
	}
	return t
}

// pearsonCoverage interpolates the table.
func pearsonCoverage(kurtosis float64) float64 {
	x := (kurtosis - rectKurtosis) / coverageStep
	if !(x > 0) {
		return coverageTable[0]
	}
	i := int(x)
	if i >= len(coverageTable)-1 {
		return normalCoverage
	}
	f := x - float64(i)
	return coverageTable[i]*(1-f) + coverageTable[i+1]*f
}

// StudentCoverage returns the two-sided 95 % factor of Student's t with nu
// degrees of freedom (12.7 for 1, 2.23 for 10, 1.96 for infinitely many).
func StudentCoverage(nu float64) float64 {
	if math.IsInf(nu, 1) {
		return normalCoverage
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(nu, 1)}.Quantile(0.975)
}

// PAbove returns the probability that the true value is above limit, when the
// estimate has the 95 % interval ± expanded. The distribution is taken as
// normal with that interval, so that P is 2.5 % exactly where the limit touches
// its edge. Without uncertainty it is 0 or 1. NaN when an input is.
func PAbove(estimate, expanded, limit float64) float64 {
	d := estimate - limit
	if math.IsNaN(d) || math.IsNaN(expanded) {
		return math.NaN()
	}
	if expanded <= 0 {
		if d > 0 {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc(-d/expanded*normalCoverage/math.Sqrt2)
}
