package uncertainty_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"ohmdrift/diagnostics/uncertainty"
)

func TestCoverageOfKnownMixes(t *testing.T) {
	rect := func(as ...float64) (b uncertainty.Budget) {
		for _, a := range as {
			b.Rect(a)
		}
		return b
	}
	tests := []struct {
		name   string
		b      uncertainty.Budget
		want   float64
		within float64
		source string
	}{
		{"one rectangle", rect(0.3), 0.95 * math.Sqrt(3), 1e-6, "quantile of the uniform distribution, by hand"},
		{"two equal rectangles", rect(1, 1), math.Sqrt(6) * (1 - math.Sqrt(0.05)), 0.02, "quantile of the triangle √6(1 − √0.05), by hand; the Pearson curve is 0.017 lower"},
		{"ten rectangles", rect(1, 1, 1, 1, 1, 1, 1, 1, 1, 1), 1.96, 0.015, "nearly normal"},
	}
	for _, c := range tests {
		if got := c.b.Coverage(); math.Abs(got-c.want) > c.within {
			t.Errorf("%s: k = %.5f, want %.5f ± %g (%s)", c.name, got, c.want, c.within, c.source)
		}
	}
	var n uncertainty.Budget
	n.Normal(0.1)
	if got := n.Expanded(); math.Abs(got-0.1959964) > 1e-7 {
		t.Errorf("normal: U = %v, want 0.1959964 (k = 1.959964)", got)
	}
}

// A thermometer reading corrected by a measured imbalance, worked out by hand:
// u 0.022880 °C, 2u 0.045761 °C; with the class A tolerance 0.203364 and
// 0.406728 °C.
func TestWorkedExample(t *testing.T) {
	const slope = 0.379280 // Ω/K at 100 °C
	var b uncertainty.Budget
	b.Normal(math.Hypot(0.005, 0.005) / slope)
	b.Rect(0.02)
	b.Rect(2e-6 / 1e-3 / slope)
	b.Rect(0.01)
	if got := b.Standard(); math.Abs(got-0.022880) > 5e-7 {
		t.Errorf("u = %.7f, want 0.022880", got)
	}
	if got := 2 * b.Standard(); math.Abs(got-0.045761) > 1e-6 {
		t.Errorf("2u = %.7f, want 0.045761", got)
	}
	b.Rect(0.35)
	if got := b.Standard(); math.Abs(got-0.203364) > 1e-6 {
		t.Errorf("with the class u = %.7f, want 0.203364", got)
	}
}

// GUM H.1, end gauge: components in nm with their degrees of freedom.
func TestWelchSatterthwaiteOfTheGUM(t *testing.T) {
	var b uncertainty.Budget
	for _, c := range [][2]float64{{25, 18}, {9.7, 25.6}, {2.9, 50}, {16.6, 2}} {
		b.Student(c[0], c[1])
	}
	// √(25² + 9.7² + 2.9² + 16.6²) = 31.671, printed as 32. ν = 31.671⁴/60015 =
	// 16.76, which the GUM rounds down to 16; with the printed 32 it were 17.47.
	if got := b.Standard(); math.Abs(got-31.671) > 0.001 {
		t.Errorf("u = %.4f nm, want 31.671", got)
	}
	if got := b.DegreesOfFreedom(); math.Abs(got-16.765) > 0.001 || math.Floor(got) != 16 {
		t.Errorf("ν = %.4f, want 16.765", got)
	}
	t99 := distuv.StudentsT{Sigma: 1, Nu: 16}.Quantile(0.995)
	if math.Abs(t99-2.92) > 0.005 || math.Round(t99*32) != 93 {
		t.Errorf("t99(16) = %.4f and U99 = %.1f nm, want 2.92 and 93 (GUM H.1)", t99, t99*32)
	}
}

// Student factors against the 0.975 column of the t table.
func TestStudentCoverage(t *testing.T) {
	for nu, want := range map[float64]float64{3: 3.1824, 5: 2.5706, 10: 2.2281, 20: 2.0860, 30: 2.0423, 100: 1.9840, math.Inf(1): 1.9600} {
		if got := uncertainty.StudentCoverage(nu); math.Abs(got-want) > 5e-5 {
			t.Errorf("t(%g) = %.5f, want %.4f", nu, got, want)
		}
	}
}

// GUM table G.2, the factor for 95.45 %, from the same distribution function.
func TestGUMTableG2(t *testing.T) {
	const p = 0.5 + 0.9544997/2
	for nu, want := range map[float64]float64{1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 8: 2.37, 10: 2.28, 20: 2.13, 50: 2.05} {
		if got := (distuv.StudentsT{Sigma: 1, Nu: nu}).Quantile(p); math.Abs(got-want) > 0.006 {
			t.Errorf("t95.45(%g) = %.4f, want %.2f", nu, got, want)
		}
	}
}

// The interval holds 95 % of any mix of rectangles and normals (JCGM 101: the
// propagation of distributions is the reference).
func TestCoverageByMonteCarlo(t *testing.T) {
	const draws = 40_000
	rng := rand.New(rand.NewPCG(101, 2008))
	mixes := [][2][]float64{ // half-widths of rectangles, standard uncertainties of normals
		{{1}, nil},
		{{1, 0.1}, nil},
		{{1, 0.3}, nil},
		{{1, 0.5}, nil},
		{{1, 1}, nil},
		{{1, 0.5, 0.5}, nil},
		{{1, 1, 0.25}, nil},
		{{1}, {0.1}},
		{{1}, {0.3}},
		{{1, 0.5}, {1}},
	}
	for _, m := range mixes {
		var b uncertainty.Budget
		for _, a := range m[0] {
			b.Rect(a)
		}
		for _, u := range m[1] {
			b.Normal(u)
		}
		expanded, in := b.Expanded(), 0
		for range draws {
			sum := 0.0
			for _, a := range m[0] {
				sum += a * (2*rng.Float64() - 1)
			}
			for _, u := range m[1] {
				sum += u * rng.NormFloat64()
			}
			if math.Abs(sum) <= expanded {
				in++
			}
		}
		if got := float64(in) / draws; got < 0.94 || got > 0.96 {
			t.Errorf("rectangles %v normals %v: U = %.4f covers %.2f %%, want 94 to 96", m[0], m[1], expanded, got*100)
		}
	}
}

func TestPAbove(t *testing.T) {
	tests := []struct{ estimate, expanded, limit, want float64 }{
		{0.25, 0.05, 0.25, 0.5},
		{0.20, 0.05, 0.25, 0.025}, // the limit at the edge of the 95 % interval
		{0.30, 0.05, 0.25, 0.975},
		{0.30, 0, 0.25, 1},
		{0.20, 0, 0.25, 0},
	}
	for _, c := range tests {
		if got := uncertainty.PAbove(c.estimate, c.expanded, c.limit); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("PAbove(%v, %v, %v) = %v, want %v", c.estimate, c.expanded, c.limit, got, c.want)
		}
	}
	if got := uncertainty.PAbove(math.NaN(), 1, 1); !math.IsNaN(got) {
		t.Errorf("PAbove of an unknown estimate = %v, want NaN", got)
	}
}
