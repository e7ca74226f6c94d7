package daemon

import (
	"context"
	"fmt"
	"time"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// siteKey is where the plant level's snapshot is kept, beside those of the
// loops; no tag is empty.
const siteKey = ""

// snapshot stores the detectors' state. The history is flushed first, so that a
// start finds every sample that the state contains.
func (d *Daemon) snapshot(ctx context.Context) error {
	if err := d.history.Flush(ctx); err != nil {
		return err
	}
	g := d.current()
	all := make(map[string]records.Snapshot, len(g.loops)+1)
	for _, w := range g.loops {
		if at, body := w.snapshot(); !at.IsZero() && len(body) > 0 {
			all[w.loop.Tag] = records.Snapshot{AsOf: at, Body: body}
		}
	}
	if body := g.near.site.Snapshot(nil); len(body) > 0 {
		all[siteKey] = records.Snapshot{AsOf: time.Now(), Body: body}
	}
	return d.records.SaveSnapshots(ctx, all)
}

// snapshot returns the engine's state and the slot of the last sample in it.
func (w *watched) snapshot() (time.Time, []byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.stepped, w.follow.Engine().Snapshot(nil)
}

// resume takes over what a daemon before this one left: the findings that
// stand, the detectors' state, and the samples stored since. A restart alone
// says nothing: transitions that are on record already are recognised by key.
func (d *Daemon) resume(ctx context.Context) error {
	g := d.current()
	open, err := d.records.OpenFindings(ctx)
	if err != nil {
		return err
	}
	byLoop := map[string][]finding.Finding{}
	for _, f := range open {
		if f.Kind == finding.BoxCommonCause {
			g.apply(f)
			continue
		}
		byLoop[f.Loop] = append(byLoop[f.Loop], f)
	}
	for tag, fs := range byLoop {
		if w := g.find(tag); w != nil {
			w.resume(fs)
		}
	}
	return d.resumeEngines(ctx, g)
}

func (d *Daemon) resumeEngines(ctx context.Context, g *generation) error {
	snapshots, err := d.records.LoadSnapshots(ctx)
	if err != nil {
		return err
	}
	if s, ok := snapshots[siteKey]; ok {
		if err := g.near.site.Restore(s.Body); err != nil {
			d.log.Warn().Err(err).Msg("what neighbours said is not usable any more; it comes back at the next mark")
		}
	}
	for i, w := range g.loops {
		w.hear(*g.near.site.Neighbour(i))
		s, ok := snapshots[w.loop.Tag]
		if !ok {
			continue
		}
		if err := w.follow.Engine().Restore(s.Body); err != nil {
			d.log.Warn().Err(err).Str("loop", w.loop.Tag).Msg("the engine's state is of another version; the loop is learnt anew")
			continue
		}
		w.stepped = s.AsOf
	}
	return d.catchUp(ctx, g)
}

// catchUpMost bounds the samples between snapshot and stop that a start runs
// through the engines: snapshots come every 10 minutes, so a day means that
// they failed for long.
const catchUpMost = 24 * time.Hour

// catchUp runs the samples stored after the snapshots through the engines, mark
// by mark as they came.
func (d *Daemon) catchUp(ctx context.Context, g *generation) error {
	first, last := time.Time{}, time.Time{}
	for _, w := range g.loops {
		if !w.stepped.IsZero() && (first.IsZero() || w.stepped.Before(first)) {
			first = w.stepped
		}
		if w.stepped.After(last) {
			last = w.stepped
		}
	}
	if first.IsZero() {
		return nil
	}
	until := time.Now()
	if most := last.Add(catchUpMost); most.Before(until) {
		until = most
	}
	for from := first; from.Before(until); {
		mark := from.Truncate(drift.Mark).Add(drift.Mark)
		said, n, err := d.catchUpTo(ctx, g, mark)
		if err != nil {
			return err
		}
		if n == 0 && !from.Before(last) {
			return nil // nothing more was stored
		}
		if !mark.After(until) {
			said = g.exchange(mark, said)
		}
		d.record(said)
		from = mark
	}
	return nil
}

func (d *Daemon) catchUpTo(ctx context.Context, g *generation, mark time.Time) (said []finding.Finding, n int, err error) {
	for _, w := range g.loops {
		if w.stepped.IsZero() {
			continue
		}
		err := d.history.Replay(ctx, w.loop.Tag, w.stepped.Add(time.Nanosecond), mark, func(s *measure.Sample) error {
			n++
			said = append(said, w.step(s)...)
			return nil
		})
		if err != nil {
			return nil, 0, fmt.Errorf("catch up %s: %w", w.loop.Tag, err)
		}
	}
	return said, n, nil
}

// step runs a recorded sample through the loop's diagnostics.
func (w *watched) step(s *measure.Sample) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.stepped = s.At
	_, w.said = w.follow.Step(s, &w.neighbour, w.said[:0])
	w.standing = w.standing.apply(w.said)
	return w.said
}
