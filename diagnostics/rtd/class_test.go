package rtd_test

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// Limits of IEC 60751 tables 2 and 3 and of ASTM E1137, by their formulas.
func TestTolerance(t *testing.T) {
	const no = rtd.ClassNone
	tests := []struct {
		class rtd.Class
		kind  rtd.Construction
		at    quantity.DegC
		want  float64
		as    rtd.Class
	}{
		{rtd.ClassAA, rtd.WireWound, 0, 0.100, rtd.ClassAA},
		{rtd.ClassAA, rtd.WireWound, 100, 0.270, rtd.ClassAA},
		{rtd.ClassAA, rtd.WireWound, 200, 0.440, rtd.ClassAA},
		{rtd.ClassA, rtd.WireWound, 0, 0.150, rtd.ClassA},
		{rtd.ClassA, rtd.WireWound, -100, 0.350, rtd.ClassA},
		{rtd.ClassA, rtd.WireWound, 400, 0.950, rtd.ClassA},
		{rtd.ClassB, rtd.WireWound, -196, 1.280, rtd.ClassB},
		{rtd.ClassB, rtd.WireWound, 600, 3.300, rtd.ClassB},
		{rtd.ClassC, rtd.WireWound, 600, 6.600, rtd.ClassC},
		{rtd.GradeA, rtd.WireWound, 0, 0.130, rtd.GradeA},
		{rtd.GradeA, rtd.WireWound, -196, 0.4632, rtd.GradeA},
		{rtd.GradeA, rtd.WireWound, 600, 1.150, rtd.GradeA},
		{rtd.GradeB, rtd.WireWound, 100, 0.670, rtd.GradeB},
		{rtd.GradeB, rtd.WireWound, 600, 2.770, rtd.GradeB},
		// the fall to the next lower class outside the validity range
		{rtd.ClassAA, rtd.Film, 150, 0.355, rtd.ClassAA},
		{rtd.ClassAA, rtd.Film, 150.1, 0.4502, rtd.ClassA},
		{rtd.ClassAA, rtd.Film, 200, 0.550, rtd.ClassA},
		{rtd.ClassAA, rtd.Film, -10, 0.170, rtd.ClassA},
		{rtd.ClassA, rtd.Film, 350, 2.050, rtd.ClassB},
		{rtd.ClassA, rtd.Film, -40, 0.500, rtd.ClassB},
		{rtd.ClassB, rtd.Film, 550, 6.100, rtd.ClassC},
		{rtd.ClassAA, rtd.WireWound, 300, 0.750, rtd.ClassA},
		{rtd.ClassAA, rtd.WireWound, 460, 2.600, rtd.ClassB},
		{rtd.ClassA, rtd.WireWound, -196, 1.280, rtd.ClassB},
		{rtd.ClassAA, rtd.WireWound, 650, math.NaN(), no},
		{rtd.ClassC, rtd.Film, -60, math.NaN(), no},
		{rtd.GradeA, rtd.WireWound, 651, math.NaN(), no},
		{rtd.ClassA, rtd.WireWound, quantity.DegC(math.NaN()), math.NaN(), no},
		{no, rtd.WireWound, 0, math.NaN(), no},
	}
	for _, c := range tests {
		got, as, ok := c.class.Tolerance(c.at, c.kind)
		same := math.Abs(float64(got)-c.want) < 1e-9 || math.IsNaN(c.want) && math.IsNaN(float64(got))
		if !same || as != c.as || ok != (c.as != no) {
			t.Errorf("%v %v at %v °C: ±%v as %v, want ±%v as %v", c.class, c.kind, c.at, got, as, c.want, c.as)
		}
	}
}

// The same limits in Ω of a Pt100, as a printed class table gives them (0.06,
// 0.13, 0.20, 0.33 for A; 0.12, 0.30, 0.48, 0.79 for B).
func TestToleranceInOhm(t *testing.T) {
	s := parse(t, "Pt100")
	tests := []struct {
		class rtd.Class
		at    quantity.DegC
		want  float64
	}{
		{rtd.ClassB, -196, 0.5515},
		{rtd.ClassA, -100, 0.1419},
		{rtd.ClassB, -100, 0.3242},
		{rtd.ClassA, 0, 0.0586},
		{rtd.ClassB, 0, 0.1172},
		{rtd.ClassA, 100, 0.1327},
		{rtd.ClassB, 100, 0.3034},
		{rtd.ClassA, 200, 0.2023},
		{rtd.ClassB, 200, 0.4780},
		{rtd.ClassA, 400, 0.3274},
		{rtd.ClassB, 400, 0.7926},
		{rtd.ClassB, 600, 1.0610},
	}
	for _, c := range tests {
		tol, _, _ := c.class.Tolerance(c.at, rtd.WireWound)
		if got := float64(tol) * float64(s.SlopeAt(c.at)); math.Abs(got-c.want) > 6e-5 {
			t.Errorf("%v at %v °C: %.5f Ω, want %v", c.class, c.at, got, c.want)
		}
	}
}

func TestParseClass(t *testing.T) {
	for in, want := range map[string]rtd.Class{
		"": rtd.ClassNone, "A": rtd.ClassA, "class A": rtd.ClassA, "Class aa": rtd.ClassAA, "b": rtd.ClassB, "grade A": rtd.GradeA, "Grade  b": rtd.GradeB, "class C": rtd.ClassC,
	} {
		if got, err := rtd.ParseClass(in); err != nil || got != want {
			t.Errorf("%q is %v %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"grade", "D", "grade C", "class grade A", "1/3 B"} {
		if got, err := rtd.ParseClass(in); err == nil {
			t.Errorf("%q was taken as %v", in, got)
		}
	}
	for _, name := range rtd.Classes() {
		if c, err := rtd.ParseClass(name); err != nil || c.String() != name {
			t.Errorf("%q reads as %v %v", name, c, err)
		}
	}
}

func FuzzParseClass(f *testing.F) {
	for _, s := range append(rtd.Classes(), "A", "grade  a", "class") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		c, err := rtd.ParseClass(in)
		if err != nil {
			return
		}
		if again, err := rtd.ParseClass(c.String()); err != nil || again != c {
			t.Fatalf("%q is %v, which reads back as %v %v", in, c, again, err)
		}
	})
}
