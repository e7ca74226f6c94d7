// Package diagnostics judges a temperature loop: from one sample to leads,
// imbalance and reading error with its uncertainty, and from many samples to
// findings and a forecast. It is pure computation: no I/O and no clock of its
// own, so that live polling, one-off reads and replay of recorded data run the
// same code.
//
//	Spec ─ Observe ─ Observability          (what the loop can see at all)
//	     ─ NewLoop ─ Loop
//	measure.Sample ─ Loop.Assess ─ Assessment     (now)
//	               ├ Loop.Check ─ finding.Finding (what one sample proves)
//	               ├ Loop.Commission              (a series after work: cable, wiring)
//	               └ package drift                (over time)
//
// Errors are indicated − true in °C, resistances Ω. Units are types of package
// quantity. What cannot be known is NaN, and a sample that cannot be true gets a
// quality and a reason instead of a number.
//
// # How uncertain
//
// U is a 95 % interval (package uncertainty). Data sheet limits and rounding are
// rectangles; leads that a device computes from terminal pairs are correlated;
// what is assumed rather than measured (equal cable, the cable's data) is a
// rectangle of its own. A baseline cancels the lasting part of what a device does
// wrong: within a year the drifting part takes over the whole limit.
//
// # What it cannot see
//
// From three-wire pairs lead a1 cannot be told from the element. Where only loops
// are reported, the lead of a pair that has grown cannot be named. Two-wire loops
// show nothing. Observe says so for each loop.
package diagnostics
