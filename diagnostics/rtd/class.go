package rtd

import (
	"fmt"
	"math"
	"strings"

	"ohmdrift/diagnostics/quantity"
)

// Class is a tolerance class of IEC 60751 or a grade of ASTM E1137.
type Class uint8

// The classes and grades; ClassNone means none is stated.
const (
	ClassNone Class = iota
	ClassAA
	ClassA
	ClassB
	ClassC
	GradeA
	GradeB
)

// Construction is how the element is made; it decides the range in which a
// class of IEC 60751 holds.
type Construction uint8

// The constructions; wire-wound is taken where none is stated.
const (
	WireWound Construction = iota
	Film
)

// band is ±(base + perK·|t|) °C, valid from low to high for each construction.
type band struct {
	name       string
	base, perK float64
	low, high  [2]float64 // °C, by Construction
	next       Class      // what a thermometer counts as outside the range
}

// IEC 60751:2008 tables 2 and 3 (formulas and thermometer ranges, unchanged in
// 2022); ASTM E1137 grades over its scope −200..650 °C.
var bands = [...]band{
	ClassNone: {name: ""},
	ClassAA:   {"class AA", 0.10, 0.0017, [2]float64{-50, 0}, [2]float64{250, 150}, ClassA},
	ClassA:    {"class A", 0.15, 0.0020, [2]float64{-100, -30}, [2]float64{450, 300}, ClassB},
	ClassB:    {"class B", 0.30, 0.0050, [2]float64{-196, -50}, [2]float64{600, 500}, ClassC},
	ClassC:    {"class C", 0.60, 0.0100, [2]float64{-196, -50}, [2]float64{600, 600}, ClassNone},
	GradeA:    {"grade A", 0.13, 0.0017, [2]float64{-200, -200}, [2]float64{650, 650}, ClassNone},
	GradeB:    {"grade B", 0.25, 0.0042, [2]float64{-200, -200}, [2]float64{650, 650}, ClassNone},
}

// String returns the name used in config: "class A", "grade B"; empty for none.
func (c Class) String() string {
	if int(c) < len(bands) {
		return bands[c].name
	}
	return fmt.Sprintf("class(%d)", uint8(c))
}

// Classes lists the class and grade names.
func Classes() []string {
	names := make([]string, 0, len(bands)-1)
	for _, b := range bands[1:] {
		names = append(names, b.name)
	}
	return names
}

// ParseClass reads "class A", "A" (both IEC 60751), "grade A" (ASTM E1137) and
// so on, in any letter case; an empty text is ClassNone.
func ParseClass(s string) (Class, error) {
	want := strings.Join(strings.Fields(strings.ToLower(s)), " ")
	if want == "" {
		return ClassNone, nil
	}
	for c := ClassAA; c <= GradeB; c++ {
		name := strings.ToLower(bands[c].name)
		if want == name || c <= ClassC && "class "+want == name {
			return c, nil
		}
	}
	return ClassNone, fmt.Errorf("class %q: want one of %s", s, strings.Join(Classes(), ", "))
}

// ParseConstruction reads wire-wound or film; an empty text is wire-wound.
func ParseConstruction(s string) (Construction, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "wire-wound":
		return WireWound, nil
	case "film":
		return Film, nil
	}
	return WireWound, fmt.Errorf("construction %q: want wire-wound or film", s)
}

// String returns wire-wound or film.
func (k Construction) String() string {
	if k == Film {
		return "film"
	}
	return "wire-wound"
}

// Tolerance returns the ± limit at t in °C and the class that it comes from: a
// thermometer outside the validity range of its class counts as the next lower
// class whose range holds t (IEC 60751). ok is false, and the limit NaN, where
// no class holds or none is stated.
func (c Class) Tolerance(t quantity.DegC, k Construction) (limit quantity.DeltaC, effective Class, ok bool) {
	for ; c != ClassNone && int(c) < len(bands); c = bands[c].next {
		b := &bands[c]
		if float64(t) >= b.low[k&1] && float64(t) <= b.high[k&1] {
			return quantity.DeltaC(b.base + b.perK*math.Abs(float64(t))), c, true
		}
	}
	return quantity.DeltaC(math.NaN()), ClassNone, false
}

// ValidRange returns the range of a class as a thermometer, °C; ok is false for
// ClassNone.
func (c Class) ValidRange(k Construction) (low, high quantity.DegC, ok bool) {
	if c == ClassNone || int(c) >= len(bands) {
		return quantity.DegC(math.NaN()), quantity.DegC(math.NaN()), false
	}
	return quantity.DegC(bands[c].low[k&1]), quantity.DegC(bands[c].high[k&1]), true
}
