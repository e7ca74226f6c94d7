// Package quantity holds the units that cross function boundaries as types, so
// that the compiler refuses ohms where degrees belong. Inside a numeric kernel
// plain float64 is fine; where types end (JSON, columns, metrics, config) the
// unit stands in the name instead: error_degC, contact_ohm, since_ms.
//
// A temperature and a difference of temperatures are two types: an error of
// 0.1 °C is 0.18 °F, not 32.18 °F.
package quantity

import "math"

type (
	// Ohm is a resistance in Ω.
	Ohm float64
	// OhmPerK is the slope dR/dt of a sensor in Ω/K.
	OhmPerK float64
	// OhmPerMetre is the resistance of one conductor per length in Ω/m.
	OhmPerMetre float64
	// DegC is a temperature in °C (ITS-90).
	DegC float64
	// DeltaC is a difference of temperatures in °C (or K).
	DeltaC float64
	// Metre is a length in m.
	Metre float64
	// SquareMM is a conductor cross-section in mm².
	SquareMM float64
	// Volt is an electromotive force in V.
	Volt float64
	// Ampere is a measuring current in A.
	Ampere float64
)

// Absent is the value of a quantity that was not reported: NaN. What a
// transmitter does not report is absent, never zero.
var Absent = math.NaN()

// Known reports whether x is a usable number: neither NaN nor infinite.
func Known[T ~float64](x T) bool {
	f := float64(x)
	return !math.IsNaN(f) && !math.IsInf(f, 0)
}

// Error returns what a small resistance error o does to the reading, by the
// slope alone. Use it for budgets; a reported error takes the exact form
// T(R+δ) − T(R).
func (s OhmPerK) Error(o Ohm) DeltaC { return DeltaC(float64(o) / float64(s)) }

// Fahrenheit returns the temperature in °F.
func (t DegC) Fahrenheit() float64 { return float64(t)*1.8 + 32 }

// Fahrenheit returns the difference in °F (no offset).
func (d DeltaC) Fahrenheit() float64 { return float64(d) * 1.8 }
