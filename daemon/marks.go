package daemon

import (
	"context"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// neighbourhood is the plant level of a generation: what loops tell each other
// at the marks.
type neighbourhood struct {
	site *drift.Site
	mark time.Time // the last one
}

func newNeighbourhood(loops []*watched) *neighbourhood {
	specs := make([]*diagnostics.Spec, len(loops))
	for i, w := range loops {
		specs[i] = &w.loop.Spec
	}
	return &neighbourhood{site: drift.NewSite(specs)}
}

// exchange closes the interval that ends at a mark: every loop publishes, the
// plant level judges the boxes, and every loop gets what its neighbours said.
func (g *generation) exchange(at time.Time, out []finding.Finding) []finding.Finding {
	for i, w := range g.loops {
		g.near.site.Put(i, w.publish())
	}
	from := len(out)
	out = g.near.site.Mark(at, out)
	for i, w := range g.loops {
		w.hear(*g.near.site.Neighbour(i))
	}
	for _, f := range out[from:] {
		g.apply(f)
	}
	g.near.mark = at
	return out
}

// apply shows a finding of the plant level at each of its members.
func (g *generation) apply(f finding.Finding) {
	members := f.Loops
	if len(members) == 0 {
		members = []string{f.Loop}
	}
	for _, tag := range members {
		if w := g.find(tag); w != nil {
			w.mu.Lock()
			w.standing = w.standing.apply([]finding.Finding{f})
			w.mu.Unlock()
		}
	}
}

func (w *watched) publish() drift.Published {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Engine().Publish()
}

func (w *watched) hear(n drift.Neighbour) {
	w.mu.Lock()
	w.neighbour = n
	w.mu.Unlock()
}

// keepTime does once a second what no sample does: loops that nobody hears of
// become stale, marks pass, snapshots are taken at the marks.
func (d *Daemon) keepTime(ctx context.Context) error {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case now := <-t.C:
			d.second(ctx, now)
		}
	}
}

func (d *Daemon) second(ctx context.Context, now time.Time) {
	d.progress.rate.sample(d.progress.count.Load())
	var said []finding.Finding
	d.swap.RLock()
	g := d.current()
	for _, w := range g.loops {
		if w.loop.Link >= 0 {
			said = append(said, w.tick(now)...)
		}
	}
	mark := now.Truncate(drift.Mark)
	passed := mark.After(g.near.mark)
	if passed {
		said = g.exchange(mark, said)
	}
	d.swap.RUnlock()
	d.record(said)
	if passed {
		d.markPassed(ctx, now)
	}
}

// toldKeep is how long a notice that was delivered or refused stays in the
// outbox, to be looked at; what it told is on record for good.
const toldKeep = 30 * 24 * time.Hour

func (d *Daemon) markPassed(ctx context.Context, now time.Time) {
	if err := d.snapshot(ctx); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("no snapshot at this mark; a restart would replay from the one before")
	}
	if err := d.records.PruneMessages(ctx, now.Add(-toldKeep)); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("old notices could not be taken out of the outbox")
	}
}
