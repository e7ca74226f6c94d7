package daemon

import (
	"context"
	"slices"
	"time"

	"ohmdrift/config"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/presence"
)

// neighbourhood is the plant level of a generation: what loops tell each other
// at the marks.
type neighbourhood struct {
	site  *drift.Site
	specs []*diagnostics.Spec
	mark  time.Time // the last one; zero before the first
}

// newNeighbourhood joins the loops of a plant. What boxes and neighbours said
// stays when the plant's boxes and partners are those of before.
func newNeighbourhood(p *config.Plant, before *generation) *neighbourhood {
	n := &neighbourhood{specs: make([]*diagnostics.Spec, len(p.Loops))}
	for i := range p.Loops {
		n.specs[i] = &p.Loops[i].Spec
	}
	if before == nil {
		n.site = drift.NewSite(n.specs)
		return n
	}
	if slices.EqualFunc(n.specs, before.near.specs, samePlaces) {
		n.site = before.near.site
		return n
	}
	n.site = drift.NewSite(n.specs)
	return n
}

func samePlaces(a, b *diagnostics.Spec) bool {
	return a.Tag == b.Tag && a.Site == b.Site && a.Area == b.Area && a.Box == b.Box && a.Cabinet == b.Cabinet && a.Cable == b.Cable && a.Partner == b.Partner
}

// neighbourly is what one loop tells and hears. A loop tells what it knew when
// its first sample after a mark came. In the interval that begins at a mark it
// hears what was exchanged at the mark before: so it does not matter in which
// order links are read, nor whether the exchange runs before that first sample
// (a recorded past) or some seconds after it (live).
type neighbourly struct {
	next  time.Time       // the mark that the samples lead to; zero before the first
	told  drift.Published // as of the mark before next
	heard drift.Neighbour // read by the samples on their way to next
	said  [2]said         // the newest exchange and the one before
}

// said is what neighbours said at a mark.
type said struct {
	mark time.Time
	drift.Neighbour
}

// cross goes over to the interval that a sample belongs to.
func (n *neighbourly) cross(at time.Time, e *drift.Engine) {
	if at.Before(n.next) {
		return
	}
	mark := at.Truncate(drift.Mark)
	n.next, n.told, n.heard = mark.Add(drift.Mark), e.Publish(), drift.Neighbour{}
	for _, s := range n.said {
		if s.mark.Before(mark) {
			n.heard = s.Neighbour
			return
		}
	}
}

// publish returns what the loop knew at a mark.
func (w *watched) publish(mark time.Time) drift.Published {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.near.next.After(mark) {
		return w.near.told
	}
	return w.follow.Engine().Publish() // no sample since
}

// hear takes what was exchanged at a mark.
func (w *watched) hear(mark time.Time, n drift.Neighbour) {
	w.mu.Lock()
	w.near.said = [2]said{{mark, n}, w.near.said[0]}
	w.mu.Unlock()
}

// exchange closes the interval that ends at a mark: every loop publishes, the
// plant level judges the boxes, and every loop gets what its neighbours said.
func (g *generation) exchange(at time.Time, out []finding.Finding) []finding.Finding {
	for i, w := range g.loops {
		g.near.site.Put(i, w.publish(at))
	}
	from := len(out)
	out = g.near.site.Mark(at, out)
	for i, w := range g.loops {
		w.hear(at, *g.near.site.Neighbour(i))
	}
	for _, f := range out[from:] {
		g.apply(f)
	}
	g.near.mark = at
	return out
}

// apply shows a finding of the plant level at each of its members, and takes it
// away where it stood and no longer does.
func (g *generation) apply(f finding.Finding) {
	for i, w := range g.loops {
		s := &g.plant.Loops[i].Spec
		member := slices.Contains(f.Loops, s.Tag) || len(f.Loops) == 0 && s.Tag == f.Loop
		if !member && (s.Box != f.Box || f.Kind != finding.BoxCommonCause) {
			continue
		}
		x := f
		if !member {
			x.State = finding.Cleared
		}
		w.mu.Lock()
		w.standing = w.standing.apply([]finding.Finding{x})
		w.mu.Unlock()
	}
}

// ofPlant tells whether a finding is the plant level's: it rests on no state of
// its loop.
func ofPlant(f *finding.Finding) bool {
	return f.Kind == finding.BoxCommonCause || f.Kind == finding.SensorDrift
}

// forgetPlant closes the findings of the plant level, whose state is gone:
// nothing could ever close them.
func (g *generation) forgetPlant(now time.Time, why string) (said []finding.Finding) {
	told := map[string]bool{}
	for _, w := range g.loops {
		w.mu.Lock()
		var mine []finding.Finding
		for _, f := range w.standing {
			if ofPlant(&f) {
				mine = append(mine, closing(f, now, why))
			}
		}
		w.standing = w.standing.apply(mine)
		w.mu.Unlock()
		for _, f := range mine { // one of a box stands at each of its members
			if key := f.Loop + "\x00" + string(f.Kind) + "\x00" + f.Box; !told[key] {
				told[key] = true
				said = append(said, f)
			}
		}
	}
	return said
}

// exchangeGrace is how long after a mark the exchange runs: readings of slots
// before it have arrived by then or count as late.
const exchangeGrace = 15 * time.Second

// keepTime does once a second what no sample does: loops that nobody hears of
// become stale, marks pass, snapshots are taken at the marks.
func (d *Daemon) keepTime(ctx context.Context) error {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			d.second(ctx)
		}
	}
}

func (d *Daemon) second(ctx context.Context) {
	d.progress.rate.sample(d.progress.count.Load())
	if now := d.progress.moment(); d.pass(now) {
		d.markPassed(ctx, now.Wall)
	}
}

// pass lets time pass and reports whether a mark was exchanged.
func (d *Daemon) pass(now presence.Moment) bool {
	d.swap.RLock()
	defer d.swap.RUnlock()
	g := d.current()
	for i, w := range g.loops {
		w.overdue(now.Wall)
		if g.plant.Loops[i].Link >= 0 {
			d.record.add(w.tick(now))
		}
	}
	mark := now.Wall.Add(-exchangeGrace).Truncate(drift.Mark)
	if !g.passed(mark) {
		return false
	}
	d.record.add(g.exchange(mark, nil))
	return true
}

// lastMark exchanges a mark that has passed since the last exchange, without
// waiting for late readings: polling has ended and none will come. What loops
// knew at that mark is not in their snapshots.
func (d *Daemon) lastMark(now time.Time) {
	d.swap.RLock()
	defer d.swap.RUnlock()
	g := d.current()
	if mark := now.Truncate(drift.Mark); g.passed(mark) {
		d.record.add(g.exchange(mark, nil))
	}
}

// passed reports whether a mark is to be exchanged. After a step of the wall
// clock back by more than an interval the marks go on from there.
func (g *generation) passed(mark time.Time) bool {
	if g.near.mark.IsZero() {
		g.near.mark = mark // the interval under way ends at the next one
		return false
	}
	return mark.After(g.near.mark) || mark.Before(g.near.mark.Add(-drift.Mark))
}

// toldKeep is how long a notice that was delivered or refused stays in the
// outbox, to be looked at; what it told is on record for good.
const toldKeep = 30 * 24 * time.Hour

func (d *Daemon) markPassed(ctx context.Context, now time.Time) {
	if err := d.snapshot(ctx); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("no snapshot at this mark; a restart would replay from the one before")
	}
	if err := d.remember(ctx); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("what polling has learned could not be kept")
	}
	if err := d.records.PruneMessages(ctx, now.Add(-toldKeep)); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("old notices could not be taken out of the outbox")
	}
}
