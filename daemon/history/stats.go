package history

import (
	"sync"
	"time"
)

// Stats counts what happened since Open.
type Stats struct {
	Samples  uint64 // stored samples
	Values   uint64 // stored numbers, quality included
	Imported uint64 // stored numbers of the recorded past
	OffGrid  uint64 // of Values: kept raw because the profile's resolution did not give them back
	Refused  uint64 // numbers the database refused: older than the out-of-order window, or a second one for the same time
	Dropped  uint64 // samples that a full queue dropped, oldest first
	Waiting  int    // samples in the queue now
	Flushes  uint64
	Failures uint64        // flushes that failed; their samples wait for the next
	Last     time.Duration // of the last flush, sync included
	Longest  time.Duration
	Problem  string // of the last flush, empty when good
	Refusal  string // why a number was refused last
}

type counters struct {
	mu sync.Mutex
	s  Stats
}

func (c *counters) stored(samples int, t tally) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.s.Samples += uint64(samples)
	c.s.Values += t.values
	c.s.OffGrid += t.offGrid
	c.s.Refused += t.refused
	if t.why != nil {
		c.s.Refusal = t.why.Error()
	}
}

func (c *counters) imported(t tally) {
	c.stored(0, t)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.s.Imported += t.values
}

func (c *counters) flushed(took time.Duration, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.s.Flushes++
	c.s.Last, c.s.Longest = took, max(c.s.Longest, took)
	c.s.Problem = ""
	if err != nil {
		c.s.Failures++
		c.s.Problem = err.Error()
	}
}

// Stats returns the counters.
func (h *History) Stats() Stats {
	h.count.mu.Lock()
	s := h.count.s
	h.count.mu.Unlock()
	s.Waiting, s.Dropped = h.ring.state()
	return s
}
