// Package replay runs the drift engine over recorded data and writes findings,
// forecasts and estimates as JSON lines in time order. It is the engine that
// runs live, fed row by row: a result uses only rows before it.
//
//	file ─ blocks of lines ─ parse (all cores) ─ rows in file order
//	     ─ step each loop's engine (loops shared out over the cores)
//	     ─ at each 10-minute mark: neighbours exchange, boxes are judged
//	     ─ lines held for a day of recorded time, sorted by time, loop, kind
//
// Engines of different loops meet only at the marks, so the number of cores
// changes no byte of the output.
//
// # Rows
//
// A row that cannot be read (time, loop, a number, the number of fields) is
// reported with its line, counted and skipped. Rows are in time order over all
// loops. One that comes late, but not before the last mark and in order for its
// own loop, is used and counted; later than that it is skipped. One row far
// ahead of those that follow it (a clock gone wrong) is skipped, lest it make
// all that follow late.
//
// # Lines
//
// The engine closes an hour or a block when it sees a later sample of the same
// loop, so a line can concern a time a little before the row being read. Lines
// are held for 24 h of recorded time to come out in order; what a loop says
// about the time before a longer silence carries the time at which it was said,
// and an estimate of an hour before such a silence is left out.
package replay
