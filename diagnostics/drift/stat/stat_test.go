package stat

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// column reads a column of numbers; an empty or NA cell is NaN, lines of # are
// comments.
func column(t *testing.T, file, name string) []float64 {
	t.Helper()
	b, err := os.ReadFile("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(b)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := -1
	for i, h := range rows[0] {
		if h == name {
			at = i
		}
	}
	if at < 0 {
		t.Fatalf("%s has no column %s: %v", file, name, rows[0])
	}
	var out []float64
	for _, row := range rows[1:] {
		x, err := strconv.ParseFloat(row[at], 64)
		if err != nil {
			x = math.NaN()
		}
		out = append(out, x)
	}
	return out
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.10g, want %.10g ± %g", what, got, want, within)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4, λ 0.3, target 50, s 2.0539.
func TestEWMA(t *testing.T) {
	z := 50.0
	want := map[int]float64{0: 50.6, 4: 50.15936, 9: 50.330294, 19: 51.988243}
	for i, x := range column(t, "nist_ewma.csv", "x") {
		z = EWMA(z, x, 0.3)
		if w, ok := want[i]; ok {
			near(t, "EWMA "+strconv.Itoa(i+1), z, w, 5e-7)
		}
		if math.Abs(z-50) > EWMALimit(2.0539, 0.3, 3, 0) {
			t.Errorf("signal at %d; the handbook has none", i+1)
		}
	}
	near(t, "limit of many", EWMALimit(2.0539, 0.3, 3, 0), 2.5884317, 1e-6)
	near(t, "limit of one", 50+EWMALimit(2.0539, 0.3, 3, 1), 51.84851, 1e-5)
	near(t, "limit of five", 50+EWMALimit(2.0539, 0.3, 3, 5), 52.551611, 1e-6)
}

// NIST/SEMATECH e-Handbook 6.3.2.3, target 325, k 0.3175, h 4.1959.
func TestCusum(t *testing.T) {
	c := Cusum{Target: 325, Slack: 0.3175}
	want := map[int]float64{12: 3.0075, 13: 4.9400, 15: 10.6300, 19: 19.0350}
	first, low := -1, 0.0
	for i, x := range column(t, "nist_cusum.csv", "x") {
		c.Add(x)
		low = max(low, c.Low)
		if w, ok := want[i]; ok {
			near(t, "sum high "+strconv.Itoa(i+1), c.High, w, 1e-9)
		}
		if first < 0 && c.High > 4.1959 {
			first = i + 1
		}
	}
	if first != 14 {
		t.Errorf("first signal at %d, want 14", first)
	}
	near(t, "largest sum low", low, 0.7150, 1e-9)
}

// Montgomery, Introduction to Statistical Quality Control, table 9.1.
func TestMontgomery(t *testing.T) {
	c := Cusum{Target: 10, Slack: 0.5}
	z, signals := 10.0, []int{}
	for i, x := range column(t, "montgomery_spc.csv", "x") {
		c.Add(x)
		z = EWMA(z, x, 0.1)
		if z > 10+EWMALimit(1, 0.1, 2.7, i+1) {
			signals = append(signals, i+1)
		}
		if i+1 == 29 {
			near(t, "sum high 29", c.High, 5.28, 1e-9)
			if c.RunHigh != 7 {
				t.Errorf("run of %d, want 7", c.RunHigh)
			}
			near(t, "EWMA 29", z, 10.646823, 1e-6)
		}
	}
	if len(signals) != 2 || signals[0] != 29 {
		t.Errorf("EWMA signals at %v, want 29 and 30", signals)
	}
}

// Run lengths by integral equation, as the R package spc gives them: two-sided
// values; here by a Markov chain of 201 states (Brook and Evans 1972).
func TestRunLengths(t *testing.T) {
	tests := []struct{ lambda, l, shift, want float64 }{
		{0.05, 2.615, 0, 499.93}, {0.10, 2.700, 0, 368.99}, {0.10, 2.700, 1, 9.730}, {0.20, 2.860, 0.5, 36.20}, {0.30, 3.000, 2, 3.506},
	}
	for _, tt := range tests {
		got := runLength(tt.lambda, EWMALimit(1, tt.lambda, tt.l, 0), tt.shift)
		near(t, "run length", got, tt.want, 0.003*tt.want)
	}
}

func runLength(lambda, limit, shift float64) float64 {
	const n = 201
	w := 2 * limit / n
	phi := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	var m [n][n + 1]float64 // (I − Q) a = 1
	for i := range n {
		z := -limit + w*(float64(i)+0.5)
		for j := range n {
			lo := -limit + w*float64(j)
			edge := func(b float64) float64 { return phi((b-(1-lambda)*z)/lambda - shift) }
			m[i][j] = -(edge(lo+w) - edge(lo))
		}
		m[i][i]++
		m[i][n] = 1
	}
	for i := range n {
		for j := i + 1; j < n; j++ {
			f := m[j][i] / m[i][i]
			for k := i; k <= n; k++ {
				m[j][k] -= f * m[i][k]
			}
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			m[i][n] -= m[i][j] * m[j][n]
		}
		m[i][n] /= m[i][i]
	}
	return m[n/2][n]
}

// NIST StRD, Norris: certified values.
func TestLine(t *testing.T) {
	x, y := column(t, "strd_norris.csv", "x"), column(t, "strd_norris.csv", "y")
	var l Line
	for i := range x {
		l.Add(x[i], y[i], 1)
	}
	a, b := l.Fit()
	near(t, "B0", a, -0.262323073774029, 1e-10)
	near(t, "B1", b, 1.00211681802045, 1e-13)
	near(t, "residual sum of squares", l.Misfit(a, b), 26.6173985294224, 1e-5)
	sd := math.Sqrt(l.Misfit(a, b) / (l.N - 2))
	near(t, "sd of B1", l.SlopeScale()*sd, 4.29796848199937e-4, 1e-9)
	if a, _ := (&Line{}).Fit(); !math.IsNaN(a) {
		t.Error("an empty line has a fit")
	}
}

func TestKendall(t *testing.T) {
	tests := []struct {
		name   string
		x      []float64
		s      int
		v, z   float64
		source string
	}{
		{"EPA", []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}, 22, 155.333333, 1.68494979, "EPA QA/G-9S"},
		{"Gilbert", []float64{10, 15, 14, 20}, 4, 8.666667, 1.01904933, "Gilbert ch. 16"},
		{"outlier", []float64{1, 2, 3, 4, 5, 16, 7}, 19, 44.333333, 2.70338134, "Helsel and Hirsch"},
		{"ties", []float64{17, 14, 39, 16, 39, 14, 14, 39, 17, 39}, 7, 111.666667, 0.56779227, "published data, computed"},
		{"Nile", column(t, "nile.csv", "flow"), -1387, 112728.3333, -4.12806652, "Nile 1871 to 1970"},
		{"rain", column(t, "mk_rainfall.csv", "value"), -1959, 4889800.3333, -0.88545628, "353 of 360 values"},
	}
	for _, tt := range tests {
		s, v, z := Kendall(tt.x)
		if s != tt.s {
			t.Errorf("%s: S %d, want %d (%s)", tt.name, s, tt.s, tt.source)
		}
		near(t, tt.name+" variance", v, tt.v, 1e-4)
		near(t, tt.name+" Z", z, tt.z, 1e-8)
	}
}

// Intervals of the slope for Nile and Norris were computed from the same rule in
// another program (that scipy.stats.theilslopes rounds the ranks alike is from
// memory). The outlier is that of Helsel and Hirsch.
func TestTheilSen(t *testing.T) {
	count := func(n int) (x []float64) {
		for i := range n {
			x = append(x, float64(i))
		}
		return x
	}
	nile := column(t, "nile.csv", "flow")
	slope, low, high := TheilSen(count(len(nile)), nile)
	near(t, "Nile", slope, -2.6, 1e-12)
	near(t, "Nile, lower end", low, -3.627907, 1e-6)
	near(t, "Nile, upper end", high, -1.428571, 1e-6)
	rain := column(t, "mk_rainfall.csv", "value")
	slope, low, high = TheilSen(count(len(rain)), rain)
	near(t, "rain on its true index", slope, -0.0063694268, 1e-9)
	if !(low < 0 && high > 0) { // Mann–Kendall finds no trend, p 0.38
		t.Errorf("rain: interval %g to %g, want 0 within", low, high)
	}
	slope, low, high = TheilSen(column(t, "strd_norris.csv", "x"), column(t, "strd_norris.csv", "y"))
	near(t, "Norris", slope, 1.0021968366, 1e-9)
	near(t, "Norris, lower end", low, 1.0011153, 1e-7)
	near(t, "Norris, upper end", high, 1.0030534, 1e-7)
	slope, _, _ = TheilSen(count(7), []float64{1, 2, 3, 4, 5, 16, 7})
	near(t, "outlier", slope, 1, 1e-12)
	if a, b, c := TheilSen(count(1), []float64{1}); !math.IsNaN(a + b + c) {
		t.Errorf("one point has a slope %g, %g to %g", a, b, c)
	}
}
