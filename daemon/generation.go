package daemon

import (
	"fmt"
	"time"

	"ohmdrift/config"
	"ohmdrift/devices"
	"ohmdrift/diagnostics/follow"
)

// generation is one plant as it runs: a reload makes the next one beside it.
// Loop numbers are indices into the plant's loops. The state of a loop is shared
// by the generations that have its tag.
type generation struct {
	plant  *config.Plant
	loops  []*watched
	byTag  map[string]int
	anew   map[*watched]*follow.Loop // loops of before that are described anew; nil value = read differently only
	near   *neighbourhood
	daemon *Daemon
}

// newGeneration builds the loops of a plant beside those that run. Nothing of
// before is changed: takeOver does that, once the plant is accepted.
func (d *Daemon) newGeneration(p *config.Plant, before *generation) (*generation, error) {
	g := &generation{
		plant: p, loops: make([]*watched, len(p.Loops)), byTag: make(map[string]int, len(p.Loops)),
		anew: map[*watched]*follow.Loop{}, daemon: d,
	}
	for i := range p.Loops {
		if err := g.build(i, before); err != nil {
			return nil, fmt.Errorf("loop %s: %w", p.Loops[i].Tag, err)
		}
	}
	g.near = newNeighbourhood(p, before)
	return g, nil
}

func (g *generation) build(i int, before *generation) error {
	l := &g.plant.Loops[i]
	g.byTag[l.Tag] = i
	old := before.index(l.Tag)
	if old < 0 {
		w, err := newWatched(l)
		g.loops[i] = w
		return err
	}
	w := before.loops[old]
	g.loops[i] = w
	if sameLoop(&before.plant.Loops[old], l) {
		if before.plant.Loops[old].Interval != l.Interval {
			g.anew[w] = nil
		}
		return nil
	}
	f, err := follow.New(&l.Spec)
	g.anew[w] = f
	return err
}

// index returns the number of a tag; −1 when the plant lacks it.
func (g *generation) index(tag string) int {
	if g != nil {
		if i, ok := g.byTag[tag]; ok {
			return i
		}
	}
	return -1
}

func (g *generation) find(tag string) *watched {
	if i := g.index(tag); i >= 0 {
		return g.loops[i]
	}
	return nil
}

// Take passes a reading along its path, on the goroutine of its link.
func (g *generation) Take(loop int, r *devices.Reading) {
	d, w, l := g.daemon, g.loops[loop], &g.plant.Loops[loop]
	d.progress.polled()
	a, said := w.take(r, d.progress.now())
	d.history.Append(w.tag, &r.Sample)
	if d.forward != nil {
		d.forward.Add(l.Site, l.Area, w.tag, &a, &r.Sample)
	}
	d.record.add(said)
}

// takeOver goes on with the loops of before that this plant describes anew and
// closes what stood at loops that it lacks. The generation runs from now on.
func (g *generation) takeOver(before *generation, now time.Time) {
	for i, w := range g.loops {
		if f, ok := g.anew[w]; ok {
			g.daemon.record.add(w.redescribe(f, &g.plant.Loops[i], now))
		}
	}
	g.anew = nil
	g.near.site.Redescribe(g.near.specs)
	if g.near.site != before.near.site {
		g.daemon.record.add(g.forgetPlant(now, "boxes, cables or partners of the plant are described anew; what its loops have in common is learnt anew"))
	}
	g.near.mark = before.near.mark // not before: marks pass while a plant is built
	for _, w := range before.loops {
		if g.index(w.tag) < 0 {
			g.daemon.record.add(w.retire(now))
		}
	}
}

// retire closes what stands at a loop that the plant no longer has.
func (w *watched) retire(now time.Time) (said standing) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, f := range w.standing {
		if f.Box == "" { // a box's finding is the plant level's
			said = append(said, closing(f, now, "the loop is no longer in the plant"))
		}
	}
	w.standing = nil
	return said
}
