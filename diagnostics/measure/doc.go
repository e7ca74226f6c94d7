// Package measure is what one poll of one loop yields: the quantities at one
// moment with their quality. It is the value that devices hand to diagnostics,
// that the drift engine is fed with, that history stores and replay reads back.
//
// Every quantity that was not reported is NaN, never zero. A sample is a plain
// value: copying it allocates nothing.
package measure
