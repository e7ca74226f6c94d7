package wiring

import "ohmdrift/diagnostics/quantity"

// EMFError returns the error in Ω that a thermal EMF makes at a measuring
// current: e/I.
func EMFError(e quantity.Volt, i quantity.Ampere) quantity.Ohm {
	return quantity.Ohm(float64(e) / float64(i))
}

// Reversal removes a constant thermal EMF with two readings, at +I and at −I:
// R = (V₊ − V₋)/(2I), and returns the EMF (V₊ + V₋)/2 too.
func Reversal(plus, minus quantity.Volt, i quantity.Ampere) (quantity.Ohm, quantity.Volt) {
	return quantity.Ohm(float64(plus-minus) / (2 * float64(i))), (plus + minus) / 2
}

// ReversalDrift returns the error that Reversal leaves when the EMF drifts
// steadily by rate (V/s) and the two readings are apart by seconds: d·τ/(2I),
// with the sign for +I first.
func ReversalDrift(rate, apart float64, i quantity.Ampere) quantity.Ohm {
	return quantity.Ohm(-rate * apart / (2 * float64(i)))
}

// TripleReversal removes an EMF that drifts steadily, with three readings at
// equal distances, +I −I +I: R = (V1 − 2 V2 + V3)/(4I).
func TripleReversal(v1, v2, v3 quantity.Volt, i quantity.Ampere) quantity.Ohm {
	return quantity.Ohm(float64(v1-2*v2+v3) / (4 * float64(i)))
}

// OffsetCompensated removes the EMF with a reading without current:
// R = (V(I) − V(0))/I.
func OffsetCompensated(on, off quantity.Volt, i quantity.Ampere) quantity.Ohm {
	return quantity.Ohm(float64(on-off) / float64(i))
}

// EMFOfReversed returns the thermal EMF from the resistances that a device
// shows at +I and, with the current reversed, at −I: I·(R₊ − R₋)/2.
func EMFOfReversed(rPlus, rMinus quantity.Ohm, i quantity.Ampere) quantity.Volt {
	return quantity.Volt(float64(rPlus-rMinus) * float64(i) / 2)
}
