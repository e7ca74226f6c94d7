// Package forward sends results to the plant's time-series server by the
// InfluxDB v2 write API, and loses none while the server is away.
//
//	Add ─ buffer ─ once a second or per 5,000 points ─ queue on disk ─ about 5,000 points a call ─ server
//
// One point per loop and poll slot, in seconds: writing it again changes
// nothing, so every doubt is resolved by sending once more.
//
//	rtd,area=Fermentation,loop=TT-1204,site=Larkfield a1_ohm=0.231,error_degC=0.012,quality=0 1767225600
//
// The tags site, area and loop are always there, "-" where the plant has none.
// Fields are floats; what is not known (NaN) is left out; quality is always
// there. A backslash in a name becomes "/", because the line format cannot end
// a tag with one.
//
// # What can be lost
//
// Points that have not reached the queue: up to a second at a power cut. While
// the disk refuses them they wait in memory, the oldest are dropped beyond eight
// batches (Stats.DroppedBuffer). The queue holds Options.MaxBytes (compressed)
// for at most Options.MaxAge; beyond, the oldest go (Stats.DroppedQueue).
//
// # What the server says
//
//	2xx                      the batch leaves the queue
//	400, 413, 422            something in the batch is bad: it is halved and sent until the bad
//	                         lines stand alone; they go to quarantine, the others are stored
//	401, 403, 404, other 4xx the batch is not at fault; it waits as in an outage, and the log says
//	                         what to mend
//	429, 5xx, no answer      it waits: exponential back-off with jitter, and Retry-After is obeyed
//
// The status is taken from the HTTP response itself: the client library takes
// some partial writes for success.
package forward
