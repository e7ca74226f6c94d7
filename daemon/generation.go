package daemon

import (
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"ohmdrift/config"
	"ohmdrift/devices"
)

// generation is one plant as it runs: a reload makes the next one beside it.
// Loop numbers are indices into the plant's loops.
type generation struct {
	plant  *config.Plant
	loops  []*watched
	byTag  map[string]int
	near   *neighbourhood
	daemon *Daemon
}

// newGeneration builds the loops of a plant, taking over from before what did
// not change. The state that is taken over is shared until before is dropped.
func (d *Daemon) newGeneration(p *config.Plant, before *generation) (*generation, error) {
	g := &generation{plant: p, loops: make([]*watched, len(p.Loops)), byTag: make(map[string]int, len(p.Loops)), daemon: d}
	for i := range p.Loops {
		l := &p.Loops[i]
		g.byTag[l.Tag] = i
		if old := before.find(l.Tag); old != nil && sameLoop(&old.loop, l) {
			g.loops[i] = old
			continue
		}
		w, err := newWatched(l)
		if err != nil {
			return nil, fmt.Errorf("loop %s: %w", l.Tag, err)
		}
		g.loops[i] = w
	}
	g.near = newNeighbourhood(g.loops)
	if before != nil && slices.Equal(before.loops, g.loops) {
		g.near = before.near
	}
	return g, nil
}

func (g *generation) find(tag string) *watched {
	if g == nil {
		return nil
	}
	if i, ok := g.byTag[tag]; ok {
		return g.loops[i]
	}
	return nil
}

// Take passes a reading along its path, on the goroutine of its link.
func (g *generation) Take(loop int, r *devices.Reading) {
	d, w := g.daemon, g.loops[loop]
	d.progress.polled(time.Now())
	a, said := w.take(r)
	d.history.Append(w.loop.Tag, &r.Sample)
	if d.forward != nil {
		d.forward.Add(w.loop.Site, w.loop.Area, w.loop.Tag, &a, &r.Sample)
	}
	d.record(said)
}

// progress counts finished polls for the health answer and the heartbeat.
type progress struct {
	started time.Time
	last    atomic.Int64 // Unix nanoseconds
	count   atomic.Uint64
	rate    rate
}

func (p *progress) polled(now time.Time) {
	p.last.Store(now.UnixNano())
	p.count.Add(1)
}

func (p *progress) lastPoll() time.Time {
	if n := p.last.Load(); n != 0 {
		return time.Unix(0, n)
	}
	return time.Time{}
}

// rate is polls a second over the last ten seconds, sampled once a second.
type rate struct {
	perSecond atomic.Uint64 // hundredths
	seen      [11]uint64
	at        int
}

func (r *rate) sample(count uint64) {
	r.seen[r.at%len(r.seen)] = count
	oldest := (r.at + 1) % len(r.seen)
	span := len(r.seen) - 1
	if r.at < span {
		oldest, span = 0, r.at
	}
	if span > 0 {
		r.perSecond.Store((count - r.seen[oldest]) * 100 / uint64(span))
	}
	r.at++
}

func (r *rate) value() float64 { return float64(r.perSecond.Load()) / 100 }
