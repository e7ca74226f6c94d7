// Package rtd converts between the resistance and the temperature of
// resistance thermometers and knows their tolerance classes. Temperatures are
// ITS-90 in °C, resistances Ω, slopes Ω/K. A value outside a curve is an error,
// never an extrapolation.
package rtd

import "ohmdrift/diagnostics/quantity"

// Sensor is a curve with its resistance at 0 °C. Build it with ParseSensor or a
// constructor; the zero value is not usable.
type Sensor struct {
	name string
	r0   float64
}

// Name returns the designation, such as Pt100.
func (s Sensor) Name() string { return s.name }

// R0 returns the resistance at 0 °C.
func (s Sensor) R0() quantity.Ohm { return quantity.Ohm(s.r0) }
