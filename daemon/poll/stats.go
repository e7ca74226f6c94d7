package poll

import (
	"sync/atomic"
	"time"

	"ohmdrift/devices"
)

// Qualities is the number of qualities that are counted.
const qualities = 10

// bounds are the upper ends of the duration histograms.
var bounds = [...]time.Duration{
	time.Millisecond, 2 * time.Millisecond, 5 * time.Millisecond, 10 * time.Millisecond, 20 * time.Millisecond,
	50 * time.Millisecond, 100 * time.Millisecond, 200 * time.Millisecond, 500 * time.Millisecond,
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second,
}

// histogram counts durations; one goroutine writes, any may read.
type histogram struct {
	counts [len(bounds) + 1]atomic.Uint64
	sum    atomic.Int64
}

func (h *histogram) observe(d time.Duration) {
	i := 0
	for i < len(bounds) && d > bounds[i] {
		i++
	}
	h.counts[i].Add(1)
	h.sum.Add(int64(d))
}

func (h *histogram) snapshot() Histogram {
	var s Histogram
	for i := range h.counts {
		s.Counts[i] = h.counts[i].Load()
		s.Count += s.Counts[i]
	}
	s.Sum = time.Duration(h.sum.Load())
	return s
}

// Histogram is how durations were spread: Counts[i] lie at most Bounds()[i]
// above the bound before, the last has no upper end.
type Histogram struct {
	Counts [len(bounds) + 1]uint64
	Count  uint64
	Sum    time.Duration
}

// Bounds returns the upper ends of a Histogram's counts but the last.
func Bounds() []time.Duration { return append([]time.Duration(nil), bounds[:]...) }

// Reason is why a connection was opened again.
type Reason uint8

// The reasons.
const (
	ReasonLost    Reason = iota // closed or reset by the peer, port hung up
	ReasonSilent                // requests to several units went unanswered: half open, or all are dead
	ReasonFraming               // the stream of answers has lost its frames
	reasons       = iota
)

var reasonNames = [...]string{"lost", "silent", "framing"}

// String returns the word used in metrics.
func (r Reason) String() string { return reasonNames[r] }

// linkStats are the counters of one link; the link's goroutine writes.
type linkStats struct {
	polls, missed, yielded atomic.Uint64
	quality                [qualities]atomic.Uint64
	requests               [devices.Faults]atomic.Uint64
	reopens                [reasons]atomic.Uint64
	dials, dialErrors      atomic.Uint64
	strays, splits, jumps  atomic.Uint64
	busy, probing          atomic.Int64 // bus time, ns
	bytesOut, bytesIn      atomic.Uint64
	since                  atomic.Int64 // start, ns of wall time
	up                     atomic.Bool
	path                   atomic.Int32
	slowdown               atomic.Int32
	lateness, roundTrip    histogram
}

// unitStats are the counters of one unit.
type unitStats struct {
	polls, good, requests, failed atomic.Uint64
	state                         atomic.Int32
}

// LinkStats is what has happened on one link since its polling began.
type LinkStats struct {
	Name       string
	Up         bool
	Path       int                    // 0 first, 1 second
	Polls      uint64                 // loop polls that were due and delivered, whatever their quality
	Good       uint64                 // of these, with quality good
	ByQuality  [qualities]uint64      // index = measure.Quality
	Requests   [devices.Faults]uint64 // index = devices.Fault, 0 = answered
	Reopens    [reasons]uint64        // index = Reason
	Dials      uint64                 // attempts to connect
	DialErrors uint64                 // of these, failed
	Missed     uint64                 // slots that passed while the link was busy
	Yielded    uint64                 // slots given up to a slow or foreign master's line
	Strays     uint64                 // answers that came late, twice or from units not asked
	Splits     uint64                 // joint requests that a unit refused and that were split
	ClockJumps uint64                 // steps of the wall clock that were seen
	BytesOut   uint64
	BytesIn    uint64
	Busy       time.Duration // bus time of all requests
	Probing    time.Duration // of these, for dead units and work mode
	Since      time.Time
	Slowdown   int       // every n-th slot is polled, 1 = all
	Lateness   Histogram // start of the request − slot
	RoundTrip  Histogram
	Units      []UnitStats
}

// UnitStats is what has happened at one unit.
type UnitStats struct {
	Unit     uint8
	Polls    uint64 // loop polls due
	Good     uint64
	Requests uint64
	Failed   uint64 // requests without a usable answer
	Breaker  int    // 0 closed, 1 suspect, 2 open
}

// BusUse returns the share of time in which the bus was busy, 0..1.
func (s *LinkStats) BusUse(now time.Time) float64 { return share(s.Busy, now.Sub(s.Since)) }

// ProbeShare returns the share of time that went to dead units and work mode.
func (s *LinkStats) ProbeShare(now time.Time) float64 { return share(s.Probing, now.Sub(s.Since)) }

func share(part, all time.Duration) float64 {
	if all <= 0 {
		return 0
	}
	return float64(part) / float64(all)
}

// snapshot reads the counters; each is exact, together they are of nearly one
// moment.
func (r *runner) snapshot() LinkStats {
	c := &r.stats
	s := LinkStats{
		Name: r.cfg.Name, Up: c.up.Load(), Path: int(c.path.Load()), Polls: c.polls.Load(),
		Dials: c.dials.Load(), DialErrors: c.dialErrors.Load(), Missed: c.missed.Load(), Yielded: c.yielded.Load(),
		Strays: c.strays.Load(), Splits: c.splits.Load(), ClockJumps: c.jumps.Load(),
		BytesOut: c.bytesOut.Load(), BytesIn: c.bytesIn.Load(),
		Busy: time.Duration(c.busy.Load()), Probing: time.Duration(c.probing.Load()),
		Since: time.Unix(0, c.since.Load()), Slowdown: max(1, int(c.slowdown.Load())),
		Lateness: c.lateness.snapshot(), RoundTrip: c.roundTrip.snapshot(),
	}
	for i := range s.ByQuality {
		s.ByQuality[i] = c.quality[i].Load()
	}
	s.Good = s.ByQuality[0]
	for i := range s.Requests {
		s.Requests[i] = c.requests[i].Load()
	}
	for i := range s.Reopens {
		s.Reopens[i] = c.reopens[i].Load()
	}
	if units := r.unitList.Load(); units != nil {
		for _, u := range *units {
			s.Units = append(s.Units, UnitStats{
				Unit: u.id, Polls: u.stats.polls.Load(), Good: u.stats.good.Load(),
				Requests: u.stats.requests.Load(), Failed: u.stats.failed.Load(), Breaker: int(u.stats.state.Load()),
			})
		}
	}
	return s
}
