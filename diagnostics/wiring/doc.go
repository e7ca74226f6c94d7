// Package wiring turns what a transmitter reports into the resistance of each
// lead and the imbalance that its input method leaves in the reading.
//
//	a1 ──r──┬── element ──┬──r── b1
//	a2 ──r──┘             └──r── b2
//
// A three-wire loop has a1, b1, b2; a two-wire loop a1, b1. A compensating loop
// (four-wire-loop) has a1 and b1 at the element, and a2 and b2 as a separate
// loop beside them. Resistances are in Ω and include the terminals; errors are
// indicated − true.
//
//	method           what remains in the measured resistance
//	two-wire         a1 + b1
//	two-wire-fixed   a1 + b1 − Rc
//	three-wire-loop  a1 − b2        loop b1 + b2 measured and subtracted
//	three-wire-dual  a1 − b1        two matched sources, or a sense lead
//	three-wire-half  a1 − (b1 + b2)/2
//	four-wire        0
//	four-wire-loop   a1 + b1 − a2 − b2
//	device-corrected 0
//
// From three-wire pairs a1 and the element cannot be told apart: there are
// three equations and four unknowns. What a loop can and cannot see is stated
// by Observe of package diagnostics.
package wiring
