// Package history keeps every raw sample in an embedded time-series database
// and gives it back bit for bit.
//
//	Append ─ ring (bounded) ─ owner goroutine ─ TSDB write-ahead log ─ fsync every 5 s
//	Import ───────────────────────────────────── blocks on disk (the recorded past)
//	Range, Replay ◂────────────────────────────── TSDB
//
// # On disk
//
// One series per loop, quantity and grid, with three labels:
//
//	loop="TT-1204" quantity="a1" grid="1/1000"
//
// A float64 of about 100.021 Ω has 52 bits of noise in it for the compression;
// the register behind it is a small integer. So a value is stored as the whole
// number of steps n of the profile's resolution, and the label says how to get
// the value back:
//
//	grid="1/1000"      value = n / 1000
//	grid="0.001"       value = n · 0.001, which differs from n / 1000 in the last bit
//	grid="f32 1/1000"  value = float64(float32(n / 1000)), registers of IEEE 754 single precision
//	grid="raw"         value = n
//
// Each value is decoded again before it is stored; one that does not come back
// bit for bit goes to the raw series and is counted (Stats.OffGrid). Nothing is
// ever rounded. A changed resolution is a new series; Range and Replay merge
// the series of a quantity by time.
//
// Absent (NaN) is not stored. The quality of every sample is, so a poll that
// brought nothing is still on record. Times are poll slots in whole
// milliseconds.
//
// # What can be lost
//
// The ring holds the samples that arrived since the last flush; when it is full
// the oldest is dropped and counted (Stats.Dropped). A power cut loses at most
// one flush interval, a killed process too. What Flush has returned for is on
// the disk: the database itself syncs only at the end of a segment, so the
// owner syncs the newest segment after each commit.
//
// Samples may arrive up to Options.OutOfOrder late. A second, different value
// for the newest time of a loop is refused and counted (Stats.Refused): the
// first one stands. For an earlier time either may stand, so nothing may rely
// on overwriting.
package history
