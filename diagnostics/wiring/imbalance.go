package wiring

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// coefficients of a1, a2, b1, b2 in the error that each method leaves:
// error = c·leads (− the fixed compensation).
var coefficients = [...][measure.LeadCount]float64{
	TwoWire:         {1, 0, 1, 0},
	TwoWireFixed:    {1, 0, 1, 0},
	ThreeWireLoop:   {1, 0, 0, -1},
	ThreeWireDual:   {1, 0, -1, 0},
	ThreeWireHalf:   {1, 0, -0.5, -0.5},
	FourWire:        {},
	FourWireLoop:    {1, -1, 1, -1},
	DeviceCorrected: {},
}

// Coefficients returns how much each lead (a1 a2 b1 b2) adds to the measured
// resistance after the method, in Ω per Ω. A method outside the list has none.
func Coefficients(m Method) [measure.LeadCount]float64 {
	if int(m) < len(coefficients) {
		return coefficients[m]
	}
	return [measure.LeadCount]float64{}
}

// Sensitivities returns how much an error of each measured lead value adds to
// the error that remains in the reading, or in its estimate. For most methods
// it equals Coefficients: the estimate is that combination of lead values. A
// device that corrects by itself subtracts a1 + b1 as it measured them.
func Sensitivities(m Method) [measure.LeadCount]float64 {
	if m == DeviceCorrected {
		return [measure.LeadCount]float64{-1, 0, -1, 0}
	}
	return Coefficients(m)
}

// Imbalance returns the lead difference in Ω that the method leaves in the
// measured resistance, signed: a1 − b2 for three-wire-loop and so on, less the
// fixed compensation of two-wire-fixed. NaN where a lead that matters, or the
// compensation, is absent.
func Imbalance(m Method, leads measure.Leads, fixed quantity.Ohm) quantity.Ohm {
	if int(m) >= len(coefficients) {
		return quantity.Ohm(math.NaN())
	}
	var sum quantity.Ohm
	for i, c := range coefficients[m] {
		if c != 0 { // an absent lead that does not matter must not spoil the sum
			sum += quantity.Ohm(c) * leads[i]
		}
	}
	if m == TwoWireFixed {
		sum -= fixed
	}
	return sum
}
