// Package drift tells a degrading contact from everything else that moves a
// lead: a streaming engine per loop and a plant level above the loops.
//
// Errors are indicated − true in °C, resistances Ω. Time comes with the
// samples; nothing here has a clock, does I/O or looks ahead.
package drift
