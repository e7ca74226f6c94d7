package forward

import (
	"sync"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// chunk is some encoded points.
type chunk struct {
	lines  []byte
	points int
}

// maxChunks bounds the buffer in memory; the oldest chunk gives way.
const maxChunks = 8

// buffer gathers points on the hot path.
type buffer struct {
	mu      sync.Mutex
	size    int // points a chunk
	now     chunk
	full    []chunk
	free    [][]byte
	added   uint64
	dropped uint64
}

// add encodes one point and reports whether a chunk has become full.
func (b *buffer) add(site, area, tag string, a *diagnostics.Assessment, s *measure.Sample) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now.lines = appendPoint(b.now.lines, site, area, tag, a, s)
	b.now.points++
	b.added++
	if b.now.points < b.size {
		return false
	}
	b.turn()
	return true
}

// turn moves the present chunk to the full ones.
func (b *buffer) turn() {
	if len(b.full) == maxChunks {
		b.dropped += uint64(b.full[0].points)
		b.release(b.full[0])
		b.full = append(b.full[:0], b.full[1:]...)
	}
	b.full = append(b.full, b.now)
	b.now = chunk{}
	if n := len(b.free); n > 0 {
		b.now.lines, b.free = b.free[n-1][:0], b.free[:n-1]
	}
}

func (b *buffer) release(c chunk) {
	if len(b.free) < 2 {
		b.free = append(b.free, c.lines)
	}
}

// take removes the oldest chunk, the present one last; false when there is none.
func (b *buffer) take() (chunk, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.full) == 0 && b.now.points > 0 {
		b.turn()
	}
	if len(b.full) == 0 {
		return chunk{}, false
	}
	c := b.full[0]
	b.full = append(b.full[:0], b.full[1:]...)
	return c, true
}

// done gives the memory of a chunk back.
func (b *buffer) done(c chunk) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.release(c)
}

// back returns a chunk that could not be queued to its place, the front. If the
// buffer has filled meanwhile, it is the oldest and goes.
func (b *buffer) back(c chunk) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.full) == maxChunks {
		b.dropped += uint64(c.points)
		b.release(c)
		return
	}
	b.full = append([]chunk{c}, b.full...)
}

func (b *buffer) state() (added, dropped uint64, waiting int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	waiting = b.now.points
	for _, c := range b.full {
		waiting += c.points
	}
	return b.added, b.dropped, waiting
}
