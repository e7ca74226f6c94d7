// Package diagnostics judges a temperature loop: from one sample to leads,
// imbalance and reading error with its uncertainty, and from many samples to
// findings and a forecast. It is pure computation: no I/O and no clock of its
// own, so that live polling, one-off reads and replay of recorded data run the
// same code.
//
//	measure.Sample ─ Loop.Assess ─ Assessment (now)
//	               └ Loop.Follow ─ finding.Finding (over time, package drift)
//
// Errors are indicated − true in °C, resistances Ω. Units are types of package
// quantity.
package diagnostics
