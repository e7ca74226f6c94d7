package uncertainty_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmdrift/diagnostics/uncertainty"
)

// GUM H.3, calibration of a thermometer: the data of its table H.6, results
// recomputed with 15 digits; they agree with the printed −0.1712(29), 0.00218(67),
// r −0.930, s 0.0035 and b(30) −0.1494(41).
func TestLineOfTheGUM(t *testing.T) {
	x := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	y := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	l, err := uncertainty.FitLine(x, y, 20)
	if err != nil {
		t.Fatal(err)
	}
	b30, u30 := l.Predict(30)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"y1", l.Intercept, -0.1712037901},
		{"u(y1)", l.U0, 0.002877597835},
		{"y2", l.Slope, 0.00218269774},
		{"u(y2)", l.U1, 0.0006679387732},
		{"r", l.R, -0.9304296031},
		{"s", l.S, 0.003497563964},
		{"b(30)", b30, -0.1493768127},
		{"u(b(30))", u30, 0.004138595753},
		{"u of a new observation", math.Hypot(u30, l.S), 0.0054185726},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s = %.11g, want %.11g", c.what, c.got, c.want)
		}
	}
	if _, err := uncertainty.FitLine(x[:2], y[:2], 20); err == nil {
		t.Error("two points have no scatter")
	}
	if _, err := uncertainty.FitLine([]float64{1, 1, 1}, []float64{1, 2, 3}, 0); err == nil {
		t.Error("one x has no slope")
	}
}

// A component from few observations, among others: U with Student's t at the
// Welch–Satterthwaite degrees of freedom covers 95 % of repetitions. With two
// degrees of freedom beside a normal part the approximation itself falls to 92.6
// % (60,000 draws), which package uncertainty says.
func TestStudentComponentCovers(t *testing.T) {
	const draws = 4_000
	rng := rand.New(rand.NewPCG(3, 95))
	for _, c := range []struct {
		n      float64
		normal float64
	}{{3, 0}, {6, 0.3}, {12, 0.3}} {
		in := 0
		for range draws {
			sum, sq := 0.0, 0.0
			for range int(c.n) {
				v := rng.NormFloat64()
				sum += v / c.n
				sq += v * v
			}
			s := math.Sqrt(max(sq-c.n*sum*sum, 0) / (c.n - 1))
			var b uncertainty.Budget
			b.Student(s/math.Sqrt(c.n), c.n-1)
			b.Normal(c.normal)
			if math.Abs(sum+c.normal*rng.NormFloat64()) <= b.Expanded() {
				in++
			}
		}
		if got := float64(in) / draws; got < 0.94 || got > 0.96 {
			t.Errorf("%v observations beside a normal part of %v: %.2f %%, want 94 to 96", c.n, c.normal, got*100)
		}
	}
}
