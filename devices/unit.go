package devices

import (
	"fmt"
	"math"
)

// dimension is what a unit measures.
type dimension uint8

const (
	plain dimension = iota
	resistance
	temperature
	voltage
)

// unitOf gives k and b of canonical = k·x + b; canonical units are Ω, °C and V.
type unitOf struct {
	name string
	dim  dimension
	k, b float64
}

var units = [...]unitOf{
	{"Ohm", resistance, 1, 0},
	{"mOhm", resistance, 1e-3, 0},
	{"uOhm", resistance, 1e-6, 0},
	{"kOhm", resistance, 1e3, 0},
	{"degC", temperature, 1, 0},
	{"degF", temperature, 1 / 1.8, -32 / 1.8},
	{"K", temperature, 1, -273.15},
	{"V", voltage, 1, 0},
	{"mV", voltage, 1e-3, 0},
	{"uV", voltage, 1e-6, 0},
	{"", plain, 1, 0},
}

// Units lists the names that Field.Unit accepts.
func Units() []string {
	n := make([]string, 0, len(units)-1)
	for _, u := range units {
		if u.name != "" {
			n = append(n, u.name)
		}
	}
	return n
}

func (q Quantity) dimension() dimension {
	switch {
	case q >= LeadA1 && q <= Sensor2Ohm:
		return resistance
	case q == ReadingDegC || q == DeviceTempDegC:
		return temperature
	case q == EMFVolt:
		return voltage
	}
	return plain
}

// unit returns the conversion of the field's unit; a field without one is in
// the canonical unit of its quantity.
func (f *Field) unit() (unitOf, error) {
	want := f.Quantity.dimension()
	for _, u := range units {
		if u.name != f.Unit {
			continue
		}
		if u.name != "" && u.dim != want {
			return u, fmt.Errorf("%s in %s: the unit measures something else", f.Quantity, f.Unit)
		}
		return u, nil
	}
	return unitOf{}, fmt.Errorf("%s: unit %q; want one of %v", f.Quantity, f.Unit, Units())
}

// linear is value = raw·mul/div + add. A scale such as 0.001 is kept as a
// division by 1000: the quotient of two exact integers is the double nearest
// to the printed decimal, a product with 0.001 is not.
type linear struct{ mul, div, add float64 }

func (f *Field) linear() (linear, error) {
	u, err := f.unit()
	if err != nil {
		return linear{}, err
	}
	scale := f.Scale
	if scale == 0 {
		scale = 1
	}
	l := linear{mul: scale * u.k, div: 1, add: f.Offset*u.k + u.b}
	if inv := 1 / l.mul; math.Abs(inv) > 1 {
		if r := math.Round(inv); math.Abs(inv-r) < 1e-9*math.Abs(r) {
			l.mul, l.div = 1, r
		}
	}
	return l, nil
}

func (l linear) value(raw float64) float64 { return raw*l.mul/l.div + l.add }
func (l linear) raw(value float64) float64 { return (value - l.add) * l.div / l.mul }
