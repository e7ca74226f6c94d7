package quantity_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ohmdrift/diagnostics/quantity"
)

func TestParseLength(t *testing.T) {
	for in, want := range map[string]float64{
		"15 ft": 4.572, "12 m": 12, "12m": 12, "30 cm": 0.3, "1.5 km": 1500, "0 m": 0, "2e1 m": 20, " 7 yd ": 6.4008, "100 in": 2.54, "250 mm": 0.25,
	} {
		if got, err := quantity.ParseLength(in); err != nil || math.Abs(float64(got)-want) > 1e-12 {
			t.Errorf("%q is %v m %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "15", "ft", "15 feet", "-1 m", "1e9 m", "NaN m", "Inf m", "0x10 m", "1,5 m", "1..5 m", "1e999 m", "5 M"} {
		if got, err := quantity.ParseLength(in); err == nil {
			t.Errorf("%q was taken as %v m", in, got)
		}
	}
	_, err := quantity.ParseLength("15")
	if err == nil || !strings.Contains(err.Error(), `length "15": no unit; write "12 m" or "40 ft"`) {
		t.Errorf("error %v", err)
	}
}

func TestParseTemp(t *testing.T) {
	for in, want := range map[string]float64{
		"0 C": 0, "32 F": 0, "212F": 100, "100 °C": 100, "−40 F": -40, "-40 degF": -40, "273.15 K": 0, "20 degC": 20, "20 c": 20,
	} {
		if got, err := quantity.ParseTemp(in); err != nil || math.Abs(float64(got)-want) > 1e-12 {
			t.Errorf("%q is %v °C %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "20", "C", "-300 C", "20 R", "1e4 C", "NaN C", "-1 K", "20 C F"} {
		if got, err := quantity.ParseTemp(in); err == nil {
			t.Errorf("%q was taken as %v °C", in, got)
		}
	}
}

func TestParseOhmAndShare(t *testing.T) {
	for in, want := range map[string]float64{"0.5 ohm": 0.5, "12 mΩ": 0.012, "10 kohm": 10e3, "3 uohm": 3e-6, "1Mohm": 1e6, "2 Ω": 2} {
		if got, err := quantity.ParseOhm(in); err != nil || math.Abs(float64(got)/want-1) > 1e-12 {
			t.Errorf("%q is %v Ω %v, want %v", in, got, err, want)
		}
	}
	for in, want := range map[string]float64{"36 ohm/km": 0.036, "0.69 ohm/100 ft": 0.69 / 30.48, "16.1 Ω/1000ft": 16.1 / 304.8} {
		if got, err := quantity.ParsePerLength(in); err != nil || math.Abs(float64(got)/want-1) > 1e-12 {
			t.Errorf("%q is %v Ω/m %v, want %v", in, got, err, want)
		}
	}
	for in, want := range map[string]float64{"5%": 0.05, "5 %": 0.05, "0.05": 0.05, "150%": 1.5, "1": 1, "0%": 0} {
		if got, err := quantity.ParseShare(in); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q is %v %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "5", "-5%", "NaN", "Inf%", "%", "five"} {
		if got, err := quantity.ParseShare(in); err == nil {
			t.Errorf("%q was taken as %v", in, got)
		}
	}
	for _, in := range []string{"", "1", "ohm", "1 m", "1 xohm", "NaN ohm"} {
		if got, err := quantity.ParseOhm(in); err == nil {
			t.Errorf("%q was taken as %v Ω", in, got)
		}
	}
}

// An error of 0.1 °C is 0.18 °F, not 32.18 °F.
func TestFahrenheit(t *testing.T) {
	if got := quantity.DeltaC(0.1).Fahrenheit(); math.Abs(got-0.18) > 1e-12 {
		t.Errorf("0.1 K is %v °F", got)
	}
	if got := quantity.DegC(100).Fahrenheit(); got != 212 {
		t.Errorf("100 °C is %v °F", got)
	}
}

// What a parser takes is finite, inside its range, and prints back to itself.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"15 ft", "12 m", "32 F", "−40 °C", "0.5 ohm", "36 ohm/km", "0.69 ohm/100 ft", "5%", "0.05", "1e3 m", "1e m"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		if v, err := quantity.ParseLength(in); err == nil {
			again, err := quantity.ParseLength(fmt.Sprintf("%.17g m", float64(v)))
			if err != nil || again != v || v < 0 {
				t.Fatalf("length %q is %v, which reads back as %v %v", in, v, again, err)
			}
		}
		if v, err := quantity.ParseTemp(in); err == nil {
			again, err := quantity.ParseTemp(fmt.Sprintf("%.17g C", float64(v)))
			if err != nil || again != v {
				t.Fatalf("temperature %q is %v, which reads back as %v %v", in, v, again, err)
			}
		}
		if v, err := quantity.ParseOhm(in); err == nil {
			again, err := quantity.ParseOhm(fmt.Sprintf("%.17g ohm", float64(v)))
			if err != nil || again != v || !quantity.Known(v) {
				t.Fatalf("resistance %q is %v, which reads back as %v %v", in, v, again, err)
			}
		}
		if v, err := quantity.ParsePerLength(in); err == nil && !(v > 0 && quantity.Known(v)) {
			t.Fatalf("%q is %v Ω/m", in, v)
		}
		if v, err := quantity.ParseShare(in); err == nil && !(v >= 0 && quantity.Known(v)) {
			t.Fatalf("%q is the share %v", in, v)
		}
	})
}
