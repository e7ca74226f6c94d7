package history

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmdrift/devices"
)

// Resolution is the step of a quantity in its unit (Ω, °C, V), from the
// register map; 0 = not known.
type Resolution [quantities]float64

// ResolutionOf reads the steps of a profile's fields in the units of a sample.
// A field in a unit that is not a plain multiple of the sample's (degF) has no
// grid and is kept raw.
func ResolutionOf(p *devices.Profile) Resolution {
	var r Resolution
	r[Quality] = 1
	if p == nil {
		return r
	}
	for _, f := range p.Fields {
		if f.Quantity < devices.LeadA1 || f.Quantity > devices.CycleCount {
			continue
		}
		step := f.Resolution
		if step == 0 && f.Type != devices.Float32 && f.Type != devices.Float64 {
			step = math.Abs(f.Scale)
		}
		r[Quantity(f.Quantity-devices.LeadA1)] = step / perUnit(f.Unit)
	}
	return r
}

// perUnit returns how many of unit make one of the sample's unit, infinity
// where there is no such number. A divisor, because 1/1000 is exact as a
// quotient and not as a factor.
func perUnit(unit string) float64 {
	switch unit {
	case "mOhm", "mΩ", "mV":
		return 1e3
	case "uV", "µV", "μV":
		return 1e6
	case "degF", "°F":
		return math.Inf(1)
	}
	return 1
}

// A form is one way from a whole number of steps back to the value.
type form uint8

const (
	quotient form = iota // n / inverse
	product              // n · step
	single               // float32 of the quotient, or of the product where there is no inverse
	raw                  // n itself
	forms
)

// grid converts between values and whole numbers of steps. The zero value knows
// the raw form only.
type grid struct {
	step    float64
	inverse float64 // 1/step where that is a whole number, else 0
}

func newGrid(step float64) grid {
	if !(step > 0) || math.IsInf(step, 0) {
		return grid{}
	}
	g := grid{step: step}
	if inv := math.Round(1 / step); inv >= 1 && math.Abs(inv*step-1) < 1e-12 {
		g.inverse = inv
	}
	return g
}

// exact bounds the whole numbers that float64 holds without gaps, 2^53.
const exact = 1 << 53

// encode returns n and the form by which n gives v back bit for bit. It tries
// the form last used first, so that one device's values stay in one series.
func (g grid) encode(v float64, last form) (float64, form) {
	if g.step > 0 && last < raw {
		if n, ok := g.try(v, last); ok {
			return n, last
		}
	}
	for f := quotient; f < raw && g.step > 0; f++ {
		if n, ok := g.try(v, f); ok {
			return n, f
		}
	}
	return v, raw
}

func (g grid) try(v float64, f form) (float64, bool) {
	if f == quotient && g.inverse == 0 {
		return 0, false
	}
	n := math.Round(v / g.step)
	if !(math.Abs(n) < exact) {
		return 0, false
	}
	return n, math.Float64bits(g.decode(n, f)) == math.Float64bits(v)
}

func (g grid) decode(n float64, f form) float64 {
	switch f {
	case quotient:
		return n / g.inverse
	case product:
		return n * g.step
	case single:
		if g.inverse != 0 {
			return float64(float32(n / g.inverse))
		}
		return float64(float32(n * g.step))
	}
	return n
}

const singlePrefix = "f32 "

// label is the text of the grid label for one form.
func (g grid) label(f form) string {
	step := strconv.FormatFloat(g.step, 'g', -1, 64)
	if g.inverse != 0 && f != product {
		step = "1/" + strconv.FormatFloat(g.inverse, 'f', -1, 64)
	}
	switch f {
	case quotient, product:
		return step
	case single:
		return singlePrefix + step
	}
	return "raw"
}

// parseGrid reads a grid label.
func parseGrid(label string) (grid, form, error) {
	if label == "raw" {
		return grid{}, raw, nil
	}
	text, isSingle := strings.CutPrefix(label, singlePrefix)
	divisor, isQuotient := strings.CutPrefix(text, "1/")
	x, err := strconv.ParseFloat(divisor, 64)
	if err != nil || !(x > 0) {
		return grid{}, raw, fmt.Errorf("grid label %q: want raw, a step or 1/steps", label)
	}
	g, f := grid{step: x}, product
	if isQuotient {
		g, f = grid{step: 1 / x, inverse: x}, quotient
	}
	if isSingle {
		f = single
	}
	return g, f, nil
}
