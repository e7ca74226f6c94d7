package rtd

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/quantity"
)

// Sensor is a curve with its resistance at 0 °C. Build it with ParseSensor or a
// constructor; the zero value is not usable. It is a small value: copy it.
type Sensor struct {
	name  string
	r0    float64
	curve *curve // shared, never written after construction
}

// Valid reports whether the sensor came from a constructor.
func (s Sensor) Valid() bool { return s.curve != nil }

// Name returns the designation, such as Pt100 or Ni100-618.
func (s Sensor) Name() string { return s.name }

// String returns the designation.
func (s Sensor) String() string { return s.name }

// R0 returns the resistance at 0 °C in Ω.
func (s Sensor) R0() quantity.Ohm { return quantity.Ohm(s.r0) }

// Range returns the temperatures at which the curve begins and ends, in °C.
func (s Sensor) Range() (low, high quantity.DegC) {
	if s.curve == nil {
		return quantity.DegC(math.NaN()), quantity.DegC(math.NaN())
	}
	return quantity.DegC(s.curve.low), quantity.DegC(s.curve.high)
}

// Span returns the resistances at the ends of the curve, in Ω.
func (s Sensor) Span() (low, high quantity.Ohm) {
	a, b := s.Range()
	return s.Forward(a), s.Forward(b)
}

// Resistance returns R(t) in Ω; t outside the curve is an *OutOfRange error.
func (s Sensor) Resistance(t quantity.DegC) (quantity.Ohm, error) {
	if r := s.Forward(t); quantity.Known(r) {
		return r, nil
	}
	return quantity.Ohm(math.NaN()), s.outOfRange("°C", float64(t))
}

// Temperature returns T(R) in °C; R outside the curve is an *OutOfRange error.
func (s Sensor) Temperature(r quantity.Ohm) (quantity.DegC, error) {
	return s.TemperatureWithin(r, 0)
}

// TemperatureWithin is Temperature for a value with a declared resolution (the
// step of the register or of the printed table, in Ω): a value beyond an end of
// the curve by no more than half the resolution is the end itself, so 18.52 Ω
// printed to 0.01 Ω is −200 °C.
func (s Sensor) TemperatureWithin(r, resolution quantity.Ohm) (quantity.DegC, error) {
	if t := s.Inverse(r, resolution); quantity.Known(t) {
		return t, nil
	}
	return quantity.DegC(math.NaN()), s.outOfRange("Ω", float64(r))
}

// Slope returns dR/dt at t in Ω/K; t outside the curve is an *OutOfRange error.
func (s Sensor) Slope(t quantity.DegC) (quantity.OhmPerK, error) {
	if v := s.SlopeAt(t); quantity.Known(v) {
		return v, nil
	}
	return quantity.OhmPerK(math.NaN()), s.outOfRange("°C", float64(t))
}

// Forward is Resistance without the error: NaN outside the curve. It does not
// allocate.
func (s Sensor) Forward(t quantity.DegC) quantity.Ohm {
	if s.curve == nil || !s.curve.holds(float64(t)) {
		return quantity.Ohm(math.NaN())
	}
	return quantity.Ohm(s.r0 * s.curve.ratio(float64(t)))
}

// Inverse is TemperatureWithin without the error: NaN outside the curve. It
// does not allocate.
func (s Sensor) Inverse(r, resolution quantity.Ohm) quantity.DegC {
	if s.curve == nil {
		return quantity.DegC(math.NaN())
	}
	return quantity.DegC(s.curve.inverse(float64(r)/s.r0, float64(resolution)/s.r0))
}

// SlopeAt is Slope without the error: NaN outside the curve. It does not
// allocate.
func (s Sensor) SlopeAt(t quantity.DegC) quantity.OhmPerK {
	if s.curve == nil || !s.curve.holds(float64(t)) {
		return quantity.OhmPerK(math.NaN())
	}
	return quantity.OhmPerK(s.r0 * s.curve.slope(float64(t)))
}

// OutOfRange is a temperature or resistance outside a sensor's curve.
type OutOfRange struct {
	Sensor    string
	Value     float64
	Unit      string // °C or Ω
	Low, High float64
}

func (e *OutOfRange) Error() string {
	return fmt.Sprintf("%s: %.6g %s is outside its curve, %.6g to %.6g %s", e.Sensor, e.Value, e.Unit, e.Low, e.High, e.Unit)
}

func (s Sensor) outOfRange(unit string, v float64) error {
	if s.curve == nil {
		return fmt.Errorf("sensor has no curve; build it with ParseSensor")
	}
	low, high := s.curve.low, s.curve.high
	if unit == "Ω" {
		a, b := s.Span()
		low, high = float64(a), float64(b)
	}
	return &OutOfRange{Sensor: s.name, Value: v, Unit: unit, Low: low, High: high}
}
