package copper_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
)

func parse(t testing.TB, s string) copper.Conductor {
	t.Helper()
	c, err := copper.ParseConductor(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Solid annealed copper at 20 °C by the gauge formula of ASTM B258 and 1.7241e-8
// Ω·m, computed for gauges 14 to 30; it agrees with the wire tables of NBS
// Handbook 100 (4.016, 6.385, 10.15, 16.14, 25.67, 40.81, 64.90, 103.2 Ω per
// 1000 ft for 16 to 30).
func TestGauges(t *testing.T) {
	f, err := os.Open("testdata/awg_copper.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 18 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows[1:] {
		gauge, _ := strconv.Atoi(row[0])
		c := parse(t, row[0]+" AWG")
		for i, got := range []float64{
			copper.AWGDiameter(gauge), float64(copper.AWGArea(gauge)), float64(c.PerMetre()),
			float64(c.ResistanceAt(100, 20)), float64(c.ResistanceAt(30.48, 20)),
		} {
			want, _ := strconv.ParseFloat(row[i+1], 64)
			if math.Abs(got/want-1) > 2.2e-5 { // the table's own rounding
				t.Errorf("%d AWG column %d: %.7g, want %.7g", gauge, i+1, got, want)
			}
		}
	}
	for gauge, per1000ft := range map[string]float64{"16": 4.016, "18": 6.385, "20": 10.15, "22": 16.14, "24": 25.67, "26": 40.81, "28": 64.90, "30": 103.2} {
		if got := float64(parse(t, gauge+" AWG").ResistanceAt(304.8, 20)); math.Abs(got/per1000ft-1) > 5e-4 {
			t.Errorf("%s AWG: %.4f Ω per 1000 ft, handbook %v", gauge, got, per1000ft)
		}
	}
}

// Maxima of IEC 60228 at 20 °C in Ω/km.
func TestIEC60228(t *testing.T) {
	for size, want := range map[string]float64{
		"0.5 mm2": 36.0, "0.5 mm2 tinned": 36.7, "0.5 mm2 class 5": 39.0, "0.5 mm2 class 5 tinned": 40.1,
		"0.75 mm2": 24.5, "0.75 mm2 class 2 tinned": 24.8, "0.75 mm2 class 5": 26.0, "0.75 mm² class 5 tinned": 26.7,
		"1 mm2": 18.1, "1.0 mm2 tinned": 18.2, "1mm2 class 5": 19.5, "1.0 mm2 class 5 coated": 20.0,
		"1.5 mm2 class 1": 12.1, "1.5 mm2 tinned": 12.2, "1.5 mm2 class 5": 13.3, "1.5 mm2 class 5 tinned": 13.7,
		"2.5 mm2": 7.41, "2.5 mm2 tinned": 7.56, "2.5 mm2 class 5": 7.98, "2.5 mm2 class 5 tinned": 8.21,
	} {
		if got := float64(parse(t, size).PerMetre()) * 1000; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %v Ω/km, want %v", size, got, want)
		}
	}
}

func TestTemperature(t *testing.T) {
	// R(T)/R20 with α20 = 0.00393, and the rule (234.5 + T)/254.5 of IEC 60228,
	// which differs by less than 5e-5.
	for at, want := range map[quantity.DegC]float64{-40: 0.7642, -20: 0.8428, 0: 0.9214, 10: 0.9607, 20: 1, 30: 1.0393, 40: 1.0786, 60: 1.1572, 80: 1.2358} {
		got := copper.Factor(copper.Alpha20, at)
		if math.Abs(got-want) > 5e-5 || math.Abs(got-(234.5+float64(at))/254.5) > 5e-5 {
			t.Errorf("factor at %v °C: %.6f, want %v", at, got, want)
		}
	}
	for at, want := range map[quantity.DegC]float64{0: 0.0042652, 25: 0.0038543, 75: 0.0032315} {
		if got := copper.AlphaAt(copper.Alpha20, at); math.Abs(got-want) > 5e-8 {
			t.Errorf("α at %v °C: %.7f, want %v", at, got, want)
		}
	}
	// dρ/dT is the same for every conductivity: 6.78e-11 Ω·m/K.
	for _, n := range []float64{1, 0.97, 0.8} {
		if got := copper.Resistivity * 1e-6 / n * copper.AlphaOf(n); math.Abs(got/6.78e-11-1) > 1e-3 {
			t.Errorf("dρ/dT at %v IACS: %v", n, got)
		}
	}
	// A 0.5 Ω lead between 10 and 30 °C swings by 0.0393 Ω.
	c := copper.Measured(0.05)
	if got := float64(c.ResistanceAt(10, 30) - c.ResistanceAt(10, 10)); math.Abs(got-0.0393) > 1e-9 {
		t.Errorf("daily swing %v Ω, want 0.0393", got)
	}
	// One of two 0.5 Ω leads 5 K warmer: 0.0098 Ω.
	if got := float64(c.ResistanceAt(10, 25) - c.ResistanceAt(10, 20)); math.Abs(got-0.009825) > 1e-9 {
		t.Errorf("5 K: %v Ω, want 0.0098", got)
	}
}

// Nickel and copper in parallel, ASTM B355 classes by their share of weight.
func TestOtherMetals(t *testing.T) {
	for share, percent := range map[float64]float64{0.02: 1.6, 0.04: 3.2, 0.07: 5.8, 0.10: 8.5, 0.27: 27} {
		factor, alpha := copper.NickelPlated(share)
		if math.Abs((factor-1)*100-percent) > 0.2 {
			t.Errorf("%v nickel: %+.2f %%, want %+v", share, (factor-1)*100, percent)
		}
		if alpha <= copper.Alpha20 || alpha > 0.0042 { // slightly above copper's
			t.Errorf("%v nickel: α %v", share, alpha)
		}
	}
	ratio := float64(parse(t, "22 AWG constantan").PerMetre() / parse(t, "22 AWG").PerMetre())
	if math.Abs(ratio-28.4) > 0.1 { // 28 times copper
		t.Errorf("constantan is %v times copper", ratio)
	}
	if got := parse(t, "20 AWG 97% IACS").Alpha(); math.Abs(got-0.0038121) > 1e-9 {
		t.Errorf("97 %% IACS: α %v, want 0.00393·0.97", got)
	}
	// Stranding and tin add 2 to 9 % together (common practice).
	solid := float64(parse(t, "18 AWG").PerMetre())
	for _, s := range []string{"18 AWG stranded", "18 AWG tinned", "18 AWG stranded tinned"} {
		if got := float64(parse(t, s).PerMetre())/solid - 1; got < 0.02 || got > 0.09 {
			t.Errorf("%s: %+.3f over solid, want 0.02 to 0.09", s, got)
		}
	}
}

func TestParseConductor(t *testing.T) {
	for in, want := range map[string]string{
		"22 AWG": "22 AWG", "22awg": "22 AWG", "AWG 22": "22 AWG", "0.5mm2": "0.5 mm2", "0.50 mm²": "0.5 mm2", "1.0 mm2": "1 mm2",
		"18 AWG tinned stranded": "18 AWG stranded tinned", "0.75 mm2 class 5 coated": "0.75 mm2 class 5 tinned",
		"24 AWG nickel 27%": "24 AWG nickel 0.27", "20 awg 97% iacs": "20 AWG 0.97 IACS", "36 ohm/km": "0.036 ohm/m",
	} {
		c := parse(t, in)
		if c.Name() != want {
			t.Errorf("%q is %q, want %q", in, c.Name(), want)
		}
		if again := parse(t, c.Name()); again != c {
			t.Errorf("%q does not read back to itself: %+v, %+v", c.Name(), c, again)
		}
	}
	for _, in := range []string{
		"", "22", "AWG", "22.5 AWG", "50 AWG", "-3 AWG", "0 mm2", "NaN mm2", "Inf mm2", "1e3 mm2", "0.5 mm", "0.5 m", "22 AWG class 5",
		"0.5 mm2 class 3", "0.5 mm2 class", "22 AWG solid stranded", "0.5 mm2 class 1 stranded", "22 AWG nickel", "22 AWG nickel 80%", "22 AWG silver",
		"22 AWG constantan tinned", "22 AWG 97%", "0 ohm/m", "5 ohm/0 m", "5 ohm/km/m", "-1 ohm/m", "x/y",
	} {
		if c, err := copper.ParseConductor(in); err == nil {
			t.Errorf("%q was taken as %v", in, c)
		}
	}
}

func FuzzParseConductor(f *testing.F) {
	for _, s := range []string{"22 AWG", "AWG 18 stranded tinned", "0.75 mm2 class 5", "24 AWG nickel 27%", "20 AWG 97% IACS", "36 ohm/km", "0.69 ohm/100 ft", "0.34mm²"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		c, err := copper.ParseConductor(in)
		if err != nil {
			return
		}
		if !(c.PerMetre() > 0) || math.IsInf(float64(c.PerMetre()), 0) {
			t.Fatalf("%q has %v Ω/m", in, c.PerMetre())
		}
		again, err := copper.ParseConductor(c.Name())
		if err != nil || math.Abs(float64(again.PerMetre()/c.PerMetre())-1) > 1e-12 || again.Alpha() != c.Alpha() {
			t.Fatalf("%q is %q, which reads back as %+v %v", in, c.Name(), again, err)
		}
	})
}
