// Package wiring turns what a transmitter reports into the resistance of each
// lead and the imbalance that its input method leaves in the reading.
//
//	a1 ──r──── element ──┬──r── b1
//	                     └──r── b2
//
// Resistances are in Ω, errors are indicated − true. From three-wire pairs a1
// and the element cannot be told apart; Observability says so for each method.
package wiring
