package uncertainty

import "math"

// Budget collects independent components. The zero value is empty: no
// uncertainty at all.
type Budget struct {
	variance float64 // Σ u²
	fourth   float64 // Σ κ u⁴, κ the excess kurtosis of a component
	student  float64 // Σ u⁴/ν over components with finite degrees of freedom
}

// rectKurtosis is the excess kurtosis of a rectangular distribution.
const rectKurtosis = -1.2

// Rect adds an error that lies anywhere within ±a with equal probability, as a
// data sheet limit or a rounding step (a = half the step): u = a/√3. A limit
// that is not known (NaN), infinite or not positive adds nothing.
func (b *Budget) Rect(a float64) {
	if !(a > 0) || math.IsInf(a, 1) {
		return
	}
	v := a * a / 3
	b.variance += v
	b.fourth += rectKurtosis * v * v
}

// Normal adds a normal error of standard uncertainty u.
func (b *Budget) Normal(u float64) {
	if u > 0 && !math.IsInf(u, 1) {
		b.variance += u * u
	}
}

// Student adds an error whose standard uncertainty u was found from
// observations with nu degrees of freedom. Fewer than one degree counts as one.
func (b *Budget) Student(u, nu float64) {
	if !(u > 0) || math.IsInf(u, 1) {
		return
	}
	b.variance += u * u
	b.student += u * u * u * u / max(nu, 1)
}

// Add merges another budget, scaled by s: the sensitivity of the result to what
// that budget is about.
func (b *Budget) Add(o Budget, s float64) {
	s2 := s * s
	b.variance += o.variance * s2
	b.fourth += o.fourth * s2 * s2
	b.student += o.student * s2 * s2
}

// Standard returns the combined standard uncertainty u.
func (b *Budget) Standard() float64 { return math.Sqrt(b.variance) }

// Kurtosis returns the excess kurtosis of the sum, −1.2 (one rectangle) to 0
// (normal); 0 for an empty budget.
func (b *Budget) Kurtosis() float64 {
	if b.variance == 0 {
		return 0
	}
	return b.fourth / (b.variance * b.variance)
}

// DegreesOfFreedom returns the effective degrees of freedom by
// Welch–Satterthwaite, u⁴/Σ(u_i⁴/ν_i); +Inf when every component has many.
func (b *Budget) DegreesOfFreedom() float64 {
	if b.student == 0 {
		return math.Inf(1)
	}
	return b.variance * b.variance / b.student
}

// Coverage returns the factor k for which U = k·u covers 95 %.
func (b *Budget) Coverage() float64 {
	k := pearsonCoverage(b.Kurtosis())
	if b.student > 0 {
		k *= StudentCoverage(b.DegreesOfFreedom()) / normalCoverage
	}
	return k
}

// Expanded returns U = k·u, about 95 %.
func (b *Budget) Expanded() float64 {
	if b.variance == 0 {
		return 0
	}
	return b.Coverage() * b.Standard()
}
