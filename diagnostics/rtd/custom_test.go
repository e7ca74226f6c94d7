package rtd_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

func TestCustomCoefficients(t *testing.T) {
	iec := rtd.CVD{R0: 100, A: 3.9083e-3, B: -5.775e-7, C: -4.183e-12, Low: -100, High: 400}
	s, err := rtd.NewCVD("own", iec)
	if err != nil {
		t.Fatal(err)
	}
	std := parse(t, "Pt100")
	for at := quantity.DegC(-100); at <= 400; at += 25 {
		if s.Forward(at) != std.Forward(at) {
			t.Errorf("at %v °C: %v, want the standard's %v", at, s.Forward(at), std.Forward(at))
		}
	}
	if _, err := s.Resistance(401); err == nil {
		t.Error("a calibration up to 400 °C was used at 401 °C")
	}
	bad := []struct {
		change func(*rtd.CVD)
		want   string
	}{
		{func(k *rtd.CVD) { k.R0 = 0 }, "r0"},
		{func(k *rtd.CVD) { k.R0 = quantity.Ohm(math.NaN()) }, "r0"},
		{func(k *rtd.CVD) { k.A = -k.A }, "does not rise"},
		{func(k *rtd.CVD) { k.A = math.NaN() }, "does not rise"},
		{func(k *rtd.CVD) { k.B = -5.775e-6 }, "does not rise"}, // a power of ten lost
		{func(k *rtd.CVD) { k.High = 2000 }, "range"},
		{func(k *rtd.CVD) { k.Low = 10 }, "range"},
		{func(k *rtd.CVD) { k.Low, k.High = 400, -100 }, "range"},
	}
	for i, c := range bad {
		k := iec
		c.change(&k)
		if _, err := rtd.NewCVD("own", k); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("case %d: error %v, want %q", i, err, c.want)
		}
	}
	if _, err := rtd.NewCVD("", iec); err == nil {
		t.Error("a sensor without a name was taken")
	}
}

func TestCustomTable(t *testing.T) {
	std := parse(t, "Pt100")
	var points []rtd.Point
	for at := quantity.DegC(-50); at <= 250; at += 10 {
		points = append(points, rtd.Point{T: at, R: std.Forward(at)})
	}
	s, err := rtd.NewTable("bath 7", points)
	if err != nil {
		t.Fatal(err)
	}
	for at := quantity.DegC(-50); at <= 250; at += 1.7 {
		if d := math.Abs(float64(s.Forward(at) - std.Forward(at))); d > 0.001 {
			t.Errorf("at %v °C the table is %.5f Ω away from the curve it was taken from", at, d)
		}
		if back := s.Inverse(s.Forward(at), 0); math.Abs(float64(back-at)) > 1e-9 {
			t.Errorf("T(R(%v)) = %v", at, back)
		}
	}
	if math.Abs(float64(s.R0()-100)) > 1e-9 {
		t.Errorf("R0 = %v, want 100", s.R0())
	}
	if _, err := s.Temperature(std.Forward(251)); err == nil {
		t.Error("beyond the table's end")
	}
	for name, bad := range map[string][]rtd.Point{
		"short":   points[:2],
		"falling": {{T: 0, R: 100}, {T: 10, R: 104}, {T: 20, R: 103}},
		"twice":   {{T: 0, R: 100}, {T: 10, R: 104}, {T: 10, R: 105}},
		"NaN":     {{T: 0, R: 100}, {T: 10, R: quantity.Ohm(math.NaN())}, {T: 20, R: 108}},
		"zero":    {{T: 0, R: 0}, {T: 10, R: 104}, {T: 20, R: 108}},
	} {
		if _, err := rtd.NewTable("bad", bad); err == nil {
			t.Errorf("the %s table was taken", name)
		}
	}
}

// A table with rising points gives a rising curve that inverts, whatever its
// steps are.
func TestAnyRisingTableInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		points := make([]rtd.Point, n)
		at, r := -100.0, 10.0
		for i := range points {
			at += rapid.Float64Range(0.5, 60).Draw(t, "dt")
			r += rapid.Float64Range(0.01, 80).Draw(t, "dr")
			points[i] = rtd.Point{T: quantity.DegC(at), R: quantity.Ohm(r)}
		}
		s, err := rtd.NewTable("own", points)
		if err != nil {
			t.Fatal(err)
		}
		low, high := s.Span()
		want := low + (high-low)*quantity.Ohm(rapid.Float64Range(0, 1).Draw(t, "x"))
		got := s.Forward(s.Inverse(want, 0))
		if !(math.Abs(float64(got-want)) < 1e-8*float64(high)) {
			t.Fatalf("R(T(%v)) = %v", want, got)
		}
	})
}

func TestOwnR0(t *testing.T) {
	s, err := rtd.NewPlatinum3851(100.02)
	if err != nil || math.Abs(float64(s.Forward(100))-138.5332011) > 1e-6 { // 138.5055·1.0002
		t.Errorf("R0 100.02: R(100) = %v %v", s.Forward(100), err)
	}
	if _, err := rtd.NewPlatinum3851(quantity.Ohm(math.Inf(1))); err == nil {
		t.Error("an infinite R0 was taken")
	}
}

// I²Rθ for 100 Ω and 0.2 K/mW, by hand.
func TestSelfHeating(t *testing.T) {
	for i, want := range map[quantity.Ampere]float64{0.1e-3: 0.0002, 0.5e-3: 0.005, 1e-3: 0.020, 2e-3: 0.080, 5e-3: 0.5} {
		if got := rtd.SelfHeating(100, i, 0.2); math.Abs(float64(got)-want) > 1e-12 {
			t.Errorf("%v A: %v K, want %v", i, got, want)
		}
	}
	// A sensor that warms by k·I² has its true resistance at no current.
	if got := rtd.ZeroCurrent(100+0.01, 1e-3, 100+0.04, 2e-3); math.Abs(float64(got)-100) > 1e-9 {
		t.Errorf("at no current %v Ω, want 100", got)
	}
}

// A sensor read by the curve of IEC 60751 shows these errors (computed from both
// curves with 30 digits).
func TestMisread(t *testing.T) {
	set := parse(t, "Pt100")
	tests := []struct {
		name string
		at   quantity.DegC
		want float64
	}{
		{"Pt100-3916", 100, 1.705},
		{"Pt100-3916", 200, 3.466},
		{"Pt100-3916", 400, 7.182},
		{"Pt100-3916", -100, -1.652},
		{"Pt100-3911", 100, 1.583},
		{"Pt100-3911", 200, 3.231},
		{"Pt100-3911", 400, 6.746},
		{"Pt100-3911", -100, -1.521},
	}
	for _, c := range tests {
		if got := parse(t, c.name).Misread(set, c.at); math.Abs(float64(got)-c.want) > 6e-4 {
			t.Errorf("%s read as Pt100 at %v °C: %+.4f °C, want %+v", c.name, c.at, got, c.want)
		}
	}
	// 0.04 Ω on sensors of different R0 at 0 °C: 0.1023 °C and a tenth of it.
	for name, want := range map[string]float64{"Pt100": 0.1023, "Pt1000": 0.0102} {
		if got := parse(t, name).SlopeAt(0).Error(0.04); math.Abs(float64(got)-want) > 6e-5 {
			t.Errorf("0.04 Ω on a %s: %v °C, want %v", name, got, want)
		}
	}
}
