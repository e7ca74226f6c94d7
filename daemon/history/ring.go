package history

import (
	"sync"

	"ohmdrift/diagnostics/measure"
)

type entry struct {
	loop   *loop
	sample measure.Sample
}

// ring is the queue between the pollers and the owner. It grows up to its
// bound; when full, the oldest entry gives way to the newest, because what
// happened last is what an alarm is judged by.
type ring struct {
	mu      sync.Mutex
	entries []entry
	first   int
	count   int
	bound   int
	dropped uint64
}

// push stores a copy of s and reports how many entries wait.
func (r *ring) push(l *loop, s *measure.Sample) int {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.count == len(r.entries) && !r.grow() {
		r.first = (r.first + 1) % len(r.entries)
		r.count--
		r.dropped++
	}
	e := &r.entries[(r.first+r.count)%len(r.entries)]
	e.loop, e.sample = l, *s
	r.count++
	return r.count
}

// grow doubles the ring; false at the bound.
func (r *ring) grow() bool {
	if len(r.entries) >= r.bound {
		return false
	}
	larger := make([]entry, min(max(256, 2*len(r.entries)), r.bound))
	n := copy(larger, r.entries[r.first:])
	copy(larger[n:], r.entries[:r.first])
	r.entries, r.first = larger, 0
	return true
}

// take moves up to cap(into) of the oldest entries to into.
func (r *ring) take(into []entry) []entry {
	r.mu.Lock()
	defer r.mu.Unlock()
	into = into[:min(r.count, cap(into))]
	for i := range into {
		into[i] = r.entries[(r.first+i)%len(r.entries)]
	}
	r.first = (r.first + len(into)) % max(1, len(r.entries))
	r.count -= len(into)
	return into
}

func (r *ring) state() (waiting int, dropped uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.count, r.dropped
}
