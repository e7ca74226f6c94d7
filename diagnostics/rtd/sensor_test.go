package rtd_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

func parse(t testing.TB, name string) rtd.Sensor {
	t.Helper()
	s, err := rtd.ParseSensor(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// rows reads a CSV of testdata: comments begin with #, the header is skipped.
func rows(t testing.TB, file string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Resistance and slope every 10 °C, computed with 30 digits from the
// coefficients of IEC 60751.
func TestPt100Table(t *testing.T) {
	s := parse(t, "Pt100")
	for _, row := range rows(t, "pt100_iec60751.csv") {
		at, r, slope := number(t, row[0]), number(t, row[1]), number(t, row[2])
		if got, err := s.Resistance(quantity.DegC(at)); err != nil || math.Abs(float64(got)-r) > 1e-9 {
			t.Errorf("R(%v) = %.12g %v, want %v", at, got, err, r)
		}
		if got, err := s.Slope(quantity.DegC(at)); err != nil || math.Abs(float64(got)-slope) > 1e-10 {
			t.Errorf("S(%v) = %.12g %v, want %v", at, got, err, slope)
		}
		if got := 1 / float64(s.SlopeAt(quantity.DegC(at))); math.Abs(got-number(t, row[3])) > 1e-9 {
			t.Errorf("1/S(%v) = %.12g, want %s", at, got, row[3])
		}
		if got, err := s.Temperature(quantity.Ohm(r)); err != nil || math.Abs(float64(got)-at) > 2e-9 {
			t.Errorf("T(%v) = %.12g %v, want %v", r, got, err, at)
		}
	}
}

// The table printed in the standard, rounded to 0.01 Ω.
func TestPt100PrintedTable(t *testing.T) {
	s := parse(t, "Pt100")
	for at, want := range map[quantity.DegC]string{
		-200: "18.52", -100: "60.26", 0: "100.00", 100: "138.51", 200: "175.86", 300: "212.05", 400: "247.09", 500: "280.98", 600: "313.71", 850: "390.48",
	} {
		if got := strconv.FormatFloat(math.Floor(float64(s.Forward(at))*100+0.5+1e-9)/100, 'f', 2, 64); got != want {
			t.Errorf("R(%v) prints %s, IEC 60751 %s", at, got, want)
		}
	}
}

// Temperatures of resistances, computed with 30 digits.
func TestPt100Inverse(t *testing.T) {
	s := parse(t, "Pt100")
	tests := []struct{ r, want float64 }{
		{50, -125.14636088357},
		{99.99, -0.025586475429824},
		{100.39083, 1.0001478061379},
		{110, 25.684046662509},
		{119.397125, 50},
		{138.51, 100.01186460696},
		{200, 266.34819095834},
		{350, 715.25887515777},
		{390.481125, 850},
	}
	for _, c := range tests {
		if got := s.Inverse(quantity.Ohm(c.r), 0); math.Abs(float64(got)-c.want) > 1e-10 {
			t.Errorf("T(%v) = %.14g, want %.14g", c.r, got, c.want)
		}
	}
	// The exact form of a large error against the linear one.
	for _, c := range []struct{ t, ohm, exact, linear float64 }{{0, 1, 2.5596253, 2.5586572}, {0, 10, 25.684047, 25.586572}, {400, 10, 29.159104, 29.016627}} {
		at := quantity.DegC(c.t)
		exact := s.Inverse(s.Forward(at)+quantity.Ohm(c.ohm), 0) - at
		linear := s.SlopeAt(at).Error(quantity.Ohm(c.ohm))
		if math.Abs(float64(exact)-c.exact) > 6e-7 || math.Abs(float64(linear)-c.linear) > 6e-7 {
			t.Errorf("%+v Ω at %v °C: %.7f exact, %.7f linear, want %v", c.ohm, c.t, exact, linear, c)
		}
	}
}

// A value beyond an end by at most half the resolution is the end; anything
// further, and anything without a resolution, is an error.
func TestEndsOfTheCurve(t *testing.T) {
	s := parse(t, "Pt100")
	tests := []struct {
		r, res, want float64
		ok           bool
	}{
		{18.52, 0.01, -200, true},
		{18.52, 0, 0, false},
		{18.515, 0.01, 0, false}, // 5.08 mΩ below the end
		{18.51509, 0.01, -200, true},
		{390.48, 0.01, 849.9961557777, true}, // inside: 1.125 mΩ below the end
		{390.486, 0.01, 850, true},
		{390.4862, 0.01, 0, false},
		{390.481125, 0, 850, true},
		{18.52008, 0, -200, true},
		{0, 0.01, 0, false},
		{-5, 0.01, 0, false},
		{math.NaN(), 0.01, 0, false},
		{math.Inf(1), 0.01, 0, false},
		{math.Inf(-1), 0.01, 0, false},
		{18, math.NaN(), 0, false},
		{18, math.Inf(1), 0, false},
	}
	for _, c := range tests {
		got, err := s.TemperatureWithin(quantity.Ohm(c.r), quantity.Ohm(c.res))
		if (err == nil) != c.ok || c.ok && math.Abs(float64(got)-c.want) > 1e-6 || !c.ok && !math.IsNaN(float64(got)) {
			t.Errorf("T(%v ± %v/2) = %v %v, want %v %v", c.r, c.res, got, err, c.want, c.ok)
		}
	}
	var out *rtd.OutOfRange
	if _, err := s.Temperature(500); !errors.As(err, &out) || out.High < 390 || !strings.Contains(err.Error(), "Pt100: 500 Ω is outside its curve, 18.5201 to 390.481 Ω") {
		t.Errorf("error %v", err)
	}
	for _, at := range []quantity.DegC{-200.1, 850.1, quantity.DegC(math.NaN()), quantity.DegC(math.Inf(1))} {
		if r, err := s.Resistance(at); err == nil || !math.IsNaN(float64(r)) {
			t.Errorf("R(%v) = %v, want an error", at, r)
		}
		if v, err := s.Slope(at); err == nil || !math.IsNaN(float64(v)) {
			t.Errorf("S(%v) = %v, want an error", at, v)
		}
	}
	if _, err := (rtd.Sensor{}).Temperature(100); err == nil {
		t.Error("the zero sensor has a temperature")
	}
}

var curveNames = map[string]string{
	"pt3911_gost": "Pt100-3911", "pt3916_legacy": "Pt100-3916", "cu428_gost": "Cu100-428", "cu426_gost": "Cu100-426",
	"cu10": "Cu10", "ni617_gost": "Ni100-617", "ni618_din43760": "Ni100-618",
}

// Points of the other curves, computed from their published coefficients with
// 12 digits; R0 = 100 Ω, Cu10 9.035 Ω.
func TestOtherCurves(t *testing.T) {
	for _, row := range rows(t, "other_rtd_curves.csv") {
		name, ok := curveNames[row[0]]
		if !ok {
			t.Fatalf("no curve for %s", row[0])
		}
		at, want := number(t, row[1]), number(t, row[2])
		if got, err := parse(t, name).Resistance(quantity.DegC(at)); err != nil || math.Abs(float64(got)-want) > 1e-6 {
			t.Errorf("%s at %v °C: %.9f %v, want %v", name, at, got, err, want)
		}
	}
}

// Check values of each curve, from its published coefficients or printed table.
func TestCheckValues(t *testing.T) {
	tests := []struct {
		name       string
		at         quantity.DegC
		want, with float64
		source     string
	}{
		{"Pt100-3911", -200, 17.2444, 5e-5, "GOST 6651-2009 coefficients"},
		{"Pt100-3911", 850, 395.163775, 1e-9, "by hand: 100·(1 + 850 A + 850² B)"},
		{"Pt100-3911us", -200, 17.2604, 5e-5, "older US coefficients"},
		{"Pt100-3911us", 100, 139.10705, 5e-6, "the same"},
		{"Pt100-3911us", 850, 395.11936, 5e-6, "the same"},
		{"Pt100-3916", 100, 139.16, 0.01, "printed legacy table, older scale"},
		{"Pt100-3916", 200, 177.13, 0.005, "printed legacy table"},
		{"Pt100-3916", 300, 213.93, 0.005, "printed legacy table"},
		{"Pt100-3916", 400, 249.56, 0.005, "printed legacy table"},
		{"Pt100-3920", 0, 98.129, 1e-9, "SAMA R0"},
		{"Pt100-3920", 100, 136.5956, 5e-5, "SAMA coefficients"},
		{"Pt100-3920", 400, 245.0848, 5e-5, "the same"},
		{"Pt100-3926", 100, 139.261, 5e-4, "coefficients of the 3926 curve"},
		{"Pt100-3926", 400, 250.000, 5e-4, "the same"},
		{"Cu100", -180, 20.528356, 5e-7, "GOST 6651-2009 copper"},
		{"Cu100", -100, 56.536087, 5e-7, "the same"},
		{"Cu100", -50, 78.455056, 5e-7, "the same"},
		{"Cu50", 100, 71.4, 1e-9, "half of 142.8"},
		{"Cu100-426", -50, 78.70, 1e-9, "1 + 4.26e-3 t"},
		{"Cu10", -50, 7.1042, 5e-5, "9.035 (1 + 0.004274 t)"},
		{"Cu10", 25, 10.0004, 5e-5, "nominal 10 Ω at 25 °C"},
		{"Cu10", 100, 12.8966, 5e-5, "the line"},
		{"Cu10", -100, 5.128, 1e-9, "printed table"},
		{"Cu10", 200, 16.776, 1e-9, "printed table"},
		{"Ni100", -60, 69.454216, 5e-7, "GOST 6651-2009 nickel"},
		{"Ni100", 100, 161.7186, 5e-5, "the same"},
		{"Ni100", 180, 223.20629, 5e-6, "the same"},
		{"Ni100-618", -60, 69.520259, 5e-7, "DIN 43760 polynomial"},
		{"Ni100-618", 100, 161.7785, 5e-5, "the same"},
		{"Ni100-618", 250, 289.15625, 5e-6, "the same"},
		{"Ni120", -50, 86.17, 1e-9, "printed table"},
		{"Ni120", 0, 120, 1e-9, "printed table"},
		{"Ni120", 250, 366.53, 1e-9, "printed table"},
		{"Pt1000", 100, 1385.055, 1e-9, "ten times Pt100"},
		{"Pt500", 100, 692.5275, 1e-9, "five times Pt100"},
	}
	for _, c := range tests {
		if got, err := parse(t, c.name).Resistance(c.at); err != nil || math.Abs(float64(got)-c.want) > c.with {
			t.Errorf("%s at %v °C: %.7f %v, want %v ± %v (%s)", c.name, c.at, got, err, c.want, c.with, c.source)
		}
	}
}

// α = (R100 − R0)/(100 R0) tells the curves apart by their names.
func TestAlpha(t *testing.T) {
	for name, want := range map[string]float64{
		"Pt100": 3.85055e-3, "Pt100-3911": 3.91059e-3, "Pt100-3911us": 3.910705e-3, "Pt100-3916": 3.9152e-3, "Pt100-3920": 3.92000e-3,
		"Pt100-3926": 3.9261e-3, "Cu100": 4.28e-3, "Cu100-426": 4.26e-3, "Cu10": 4.274e-3, "Ni100": 6.17186e-3, "Ni100-618": 6.17785e-3, "Ni120": 6.72e-3,
	} {
		s := parse(t, name)
		alpha := float64(s.Forward(100)-s.R0()) / 100 / float64(s.R0())
		if math.Abs(alpha-want) > 6e-9+1e-6*b2f(name == "Ni120") {
			t.Errorf("%s: α = %.7g, want %v", name, alpha, want)
		}
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// Every printed point of the Ni120 and Cu10 tables, and the inverse through
// them. The Cu10 line differs from its table by the table's rounding.
func TestPrintedTables(t *testing.T) {
	for _, row := range rows(t, "ni120_cu10_table.csv") {
		name, within := "Ni120", 1e-9
		if row[0] == "cu10" {
			name, within = "Cu10", 0.001
		}
		s, at, want := parse(t, name), number(t, row[1]), number(t, row[2])
		if low, high := s.Range(); at < float64(low) || at > float64(high) {
			if _, err := s.Resistance(quantity.DegC(at)); err == nil {
				t.Errorf("%s at %v °C is outside its curve, yet has a resistance", name, at)
			}
			continue
		}
		if got := s.Forward(quantity.DegC(at)); math.Abs(float64(got)-want) > within {
			t.Errorf("%s at %v °C: %v, printed %v", name, at, got, want)
		}
	}
}

// R(T(r)) returns to the start within 1e-9 °C over every curve, and the slope is
// the derivative.
func TestInverseRoundTrip(t *testing.T) {
	for _, name := range append(rtd.Designations(), "Pt1000", "Pt500-3916", "Cu50-426") {
		s := parse(t, name)
		low, high := s.Range()
		worst := 0.0
		const steps = 4000
		for i := range steps + 1 {
			at := low + (high-low)*quantity.DegC(i)/steps
			back, err := s.Temperature(s.Forward(at))
			if err != nil {
				t.Fatalf("%s at %v: %v", name, at, err)
			}
			worst = max(worst, math.Abs(float64(back-at)))
			const h = 1e-3
			if i > 0 && i < steps {
				numeric := float64(s.Forward(at+h)-s.Forward(at-h)) / (2 * h)
				if rel := math.Abs(float64(s.SlopeAt(at))/numeric - 1); rel > 2e-6 {
					t.Errorf("%s at %v: slope %v, by difference %v", name, at, s.SlopeAt(at), numeric)
				}
			}
		}
		if worst > 1e-11 {
			t.Errorf("%s: round trip off by %.3g °C", name, worst)
		}
	}
}

// A higher temperature is always a higher resistance, on any curve and R0.
func TestCurvesRise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := rtd.ParseSensor(rapid.SampledFrom(rtd.Designations()).Draw(t, "sensor"))
		if err != nil {
			t.Fatal(err)
		}
		low, high := s.Range()
		a := quantity.DegC(rapid.Float64Range(float64(low), float64(high)).Draw(t, "a"))
		b := quantity.DegC(rapid.Float64Range(float64(low), float64(high)).Draw(t, "b"))
		if b < a {
			a, b = b, a
		}
		if b-a > 1e-6 && s.Forward(a) >= s.Forward(b) {
			t.Fatalf("%s: R(%v) = %v, R(%v) = %v", s, a, s.Forward(a), b, s.Forward(b))
		}
	})
}

func TestParseSensor(t *testing.T) {
	for in, want := range map[string]string{
		"Pt100": "Pt100", "PT100": "Pt100", "pt1000": "Pt1000", "Pt100-3851": "Pt100", "Pt46-3911": "Pt46-3911", "Pt100-3911US": "Pt100-3911us",
		"Cu10": "Cu10-427", "cu50": "Cu50-428", "Cu100-426": "Cu100-426", "Ni120": "Ni120-672", "Ni100": "Ni100-617", "Ni1000-618": "Ni1000-618", " Pt100 ": "Pt100",
	} {
		s := parse(t, in)
		if s.Name() != want {
			t.Errorf("%q is %s, want %s", in, s.Name(), want)
		}
		if again := parse(t, s.Name()); again != s {
			t.Errorf("%s does not read back to itself", s.Name())
		}
	}
	for _, in := range []string{"", "Pt", "Pt100-", "Pt100-385", "Pt100-9999", "Fe100", "100", "Pt0", "Pt1e3", "Pt-100", "PtNaN", "PtInf", "Ni120-617x", "Ni50-672", "Pt1e400", "Pt999999999"} {
		if s, err := rtd.ParseSensor(in); err == nil {
			t.Errorf("%q was taken as %s", in, s)
		}
	}
}

func FuzzParseSensor(f *testing.F) {
	for _, s := range append(rtd.Designations(), "Pt100-", "Ni 100", "Pt1e9", "") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		s, err := rtd.ParseSensor(in)
		if err != nil {
			return
		}
		again, err := rtd.ParseSensor(s.Name())
		if err != nil || again != s {
			t.Fatalf("%q is %s, which reads back as %v %v", in, s.Name(), again, err)
		}
		if back, err := s.Temperature(s.R0()); err != nil || math.Abs(float64(back)) > 1e-9 {
			t.Fatalf("%q: R0 is at %v °C (%v)", in, back, err)
		}
	})
}
