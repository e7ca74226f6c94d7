package rtd

import "ohmdrift/diagnostics/quantity"

// SelfHeating returns how far a measuring current warms the element above its
// surroundings: I²R·θ, θ in K/mW from the sensor's data sheet (0.02 to 0.5,
// strongly dependent on the medium; common practice).
func SelfHeating(r quantity.Ohm, i quantity.Ampere, theta float64) quantity.DeltaC {
	milliwatt := float64(i) * float64(i) * float64(r) * 1e3
	return quantity.DeltaC(milliwatt * theta)
}

// ZeroCurrent extrapolates the resistances at two measuring currents to no
// current: R1 − (R2 − R1)·I1²/(I2² − I1²). NaN or infinite for equal currents.
func ZeroCurrent(r1 quantity.Ohm, i1 quantity.Ampere, r2 quantity.Ohm, i2 quantity.Ampere) quantity.Ohm {
	q1, q2 := float64(i1)*float64(i1), float64(i2)*float64(i2)
	return r1 - (r2-r1)*quantity.Ohm(q1/(q2-q1))
}

// Misread returns what a transmitter set to the curve of set shows wrongly when
// the sensor follows the curve of s, at t: T_set(R_s(t)) − t. NaN outside either
// curve. It grows with |t| and is 0 at 0 °C, which a lead error is not.
func (s Sensor) Misread(set Sensor, t quantity.DegC) quantity.DeltaC {
	return quantity.DeltaC(set.Inverse(s.Forward(t), 0) - t)
}
