// Package daemon is the running program: it wires the parts, owns every
// goroutine and passes each sample along its path.
//
//	poll ─ Take ─ watched (assess, engine, watch) ─┬─ history   raw samples
//	                                               ├─ forward   results for the plant's database
//	                                               ├─ records   findings and their notices, one transaction
//	                                               └─ pages     newest values, from memory
//
// A loop's state belongs to the goroutine of its link; pages read a copy under
// the loop's own lock. What loops tell their neighbours goes out at fixed
// 10-minute marks.
//
// Reload builds the new plant beside the running one and swaps: a loop whose
// description did not change keeps its state, a link whose connection did not
// change keeps polling.
package daemon
