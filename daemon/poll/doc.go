// Package poll reads every loop at its interval, one goroutine a link.
//
//	Plan ─ jobs (what is read together) ─ slots ─ judge ─ devices.Conn ─ examine ─ Sink
//	                                         │
//	                       quiet window, dead unit, no link: a reading that says so
//
// Every slot ends in a reading of every loop that was due: with values, or with
// a quality and a sentence that say why there are none. A slot that passes while
// the link is busy is counted as missed and not made up for.
//
// What a dead, slow or lying unit may cost its neighbours is bounded: a breaker
// per unit (breaker.go), 5 % of the link's time for all units that do not
// answer, short waits for units that may be dead (serve.go), and connections
// that are opened again when several units fall silent together (connect.go).
//
// What a value is worth is examined as well: byte order, values that repeat
// bit for bit, devices that were exchanged (truth.go, freeze.go,
// fingerprint.go).
//
// Time is that of package time, so that testing/synctest can hold it; slots run
// on its monotonic part, samples carry its wall time (schedule.go).
package poll
