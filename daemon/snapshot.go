package daemon

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// siteKey is where the plant level's snapshot is kept, beside those of the
// loops; no tag is empty. Its time is the last mark.
const siteKey = ""

// snapshot stores the detectors' state. First the states are copied; then what
// they have said goes on record and what they have seen to the disk. A state
// never knows more than the records do: if they cannot be written, no snapshot
// is taken.
func (d *Daemon) snapshot(ctx context.Context) error {
	d.swap.RLock()
	g := d.current()
	all := make(map[string]records.Snapshot, len(g.loops)+1)
	for _, w := range g.loops {
		if at, body := w.snapshot(); !at.IsZero() {
			all[w.tag] = records.Snapshot{AsOf: at, Body: body}
		}
	}
	if !g.near.mark.IsZero() {
		all[siteKey] = records.Snapshot{AsOf: g.near.mark, Body: g.siteSnapshot()}
	}
	d.swap.RUnlock()
	if err := d.record.drain(ctx); err != nil {
		return fmt.Errorf("findings wait for the database: %w", err)
	}
	if err := d.history.Flush(ctx); err != nil {
		return err
	}
	return d.records.ReplaceSnapshots(ctx, all)
}

// siteVersion is the layout of the plant level's snapshot as a whole: a byte
// with the version, siteHeader, a saidBefore for each loop, the site's own.
const siteVersion = 2

// siteHeader is little-endian, like all of it.
type siteHeader struct {
	Before int64  // mark of the exchange before the last, ms since 1970
	Loops  uint32 // how many saidBefore follow
}

// saidBefore is what neighbours said at the mark before the last one: loops hear
// it until the interval under way ends.
type saidBefore struct {
	Loops  int32
	Factor float64
}

func (g *generation) siteSnapshot() []byte {
	h := siteHeader{Loops: uint32(len(g.loops))}
	before := make([]saidBefore, len(g.loops))
	for i, w := range g.loops {
		w.mu.Lock()
		s := w.near.said[1]
		w.mu.Unlock()
		before[i] = saidBefore{int32(s.Loops), s.Factor}
		if !s.mark.IsZero() {
			h.Before = s.mark.UnixMilli()
		}
	}
	b := []byte{siteVersion}
	for _, x := range []any{h, before} {
		b, _ = binary.Append(b, binary.LittleEndian, x) // both are of fixed size: no error is possible
	}
	return g.near.site.Snapshot(b)
}

// siteRestore takes over what siteSnapshot wrote at a mark.
func (g *generation) siteRestore(mark time.Time, b []byte) error {
	if len(b) == 0 || b[0] != siteVersion {
		return errors.New("the plant's snapshot has another layout")
	}
	var h siteHeader
	n, err := binary.Decode(b[1:], binary.LittleEndian, &h)
	if err != nil || int64(h.Loops) != int64(len(g.loops)) {
		return fmt.Errorf("the plant's snapshot is of %d loops, the plant has %d", h.Loops, len(g.loops))
	}
	before := make([]saidBefore, h.Loops)
	m, err := binary.Decode(b[1+n:], binary.LittleEndian, before)
	if err != nil {
		return fmt.Errorf("the plant's snapshot is cut short: %w", err)
	}
	if err := g.near.site.Restore(b[1+n+m:]); err != nil {
		return err
	}
	g.near.mark = mark
	for i, w := range g.loops {
		w.hear(time.UnixMilli(h.Before), drift.Neighbour{Loops: int(before[i].Loops), Factor: before[i].Factor})
		w.hear(mark, *g.near.site.Neighbour(i))
	}
	return nil
}

// snapshot returns the loop's state and the slot of the last sample in it.
func (w *watched) snapshot() (time.Time, []byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.stepped, w.follow.Snapshot(nil)
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
	now := time.Now()
	var boxes []finding.Finding
	byLoop := map[string][]finding.Finding{}
	for _, f := range open {
		switch {
		case f.Kind == finding.BoxCommonCause:
			boxes = append(boxes, f)
		case g.index(f.Loop) < 0:
			d.record.add([]finding.Finding{closing(f, now, "the loop is no longer in the plant")})
		default:
			byLoop[f.Loop] = append(byLoop[f.Loop], f)
		}
	}
	for tag, fs := range byLoop {
		g.find(tag).resume(fs)
	}
	for _, f := range boxes {
		g.apply(f)
	}
	if err := d.resumeEngines(ctx, g, now); err != nil {
		return err
	}
	return d.record.drain(ctx)
}

func (d *Daemon) resumeEngines(ctx context.Context, g *generation, now time.Time) error {
	snapshots, err := d.records.LoadSnapshots(ctx)
	if err != nil {
		return err
	}
	d.resumeSite(g, snapshots)
	for _, w := range g.loops {
		s, ok := snapshots[w.tag]
		if !ok && w.nothingStands() {
			continue
		}
		if err := w.restore(s); err != nil {
			d.log.Warn().Err(err).Str("loop", w.tag).Msg("what was learnt of the loop is not usable any more; it is learnt anew")
			d.record.add(w.loseState(now, err))
		}
	}
	return d.catchUp(ctx, g)
}

func (d *Daemon) resumeSite(g *generation, snapshots map[string]records.Snapshot) {
	s, ok := snapshots[siteKey]
	if !ok {
		return
	}
	if err := g.siteRestore(s.AsOf, s.Body); err != nil {
		d.log.Warn().Err(err).Msg("what neighbours said is not usable any more; it comes back at the next mark")
	}
}

func (w *watched) nothingStands() bool {
	_, s := w.view()
	return len(s) == 0
}

func (w *watched) restore(s records.Snapshot) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.follow.Restore(s.Body); err != nil {
		return err
	}
	w.stepped = s.AsOf
	w.near.told = w.follow.Engine().Publish()
	w.near.begin(s.AsOf.Truncate(drift.Mark))
	return nil
}

// loseState closes the findings that rest on a state that is gone: nothing could
// ever close them.
func (w *watched) loseState(now time.Time, why error) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.forget(now, fmt.Sprintf("what was learnt of the loop is lost, it is learnt anew: %v", why))
}

// catchUpMost bounds the samples between snapshot and stop that a start runs
// through the engines: snapshots come every 10 minutes, so a day means that
// they failed for long. A loop whose last sample is older starts from there.
const catchUpMost = 24 * time.Hour

// catchUp runs the samples stored after the snapshots through the engines, mark
// by mark as they came.
func (d *Daemon) catchUp(ctx context.Context, g *generation) error {
	last := time.Time{}
	for _, w := range g.loops {
		if w.stepped.After(last) {
			last = w.stepped
		}
	}
	if last.IsZero() {
		return nil
	}
	first := last
	for _, w := range g.loops {
		if oldest := last.Add(-catchUpMost); !w.stepped.IsZero() && w.stepped.Before(first) && w.stepped.After(oldest) {
			first = w.stepped
		}
	}
	until := time.Now()
	if most := last.Add(catchUpMost); most.Before(until) {
		until = most
	}
	for from := first; from.Before(until); {
		mark := from.Truncate(drift.Mark).Add(drift.Mark)
		n, err := d.catchUpTo(ctx, g, mark)
		if err != nil {
			return err
		}
		if n == 0 && !from.Before(last) {
			return nil // nothing more was stored
		}
		if mark.After(g.near.mark) && !mark.After(until) {
			d.record.add(g.exchange(mark, nil))
		}
		from = mark
	}
	return nil
}

func (d *Daemon) catchUpTo(ctx context.Context, g *generation, mark time.Time) (n int, err error) {
	for _, w := range g.loops {
		if w.stepped.IsZero() {
			continue
		}
		err := d.history.Replay(ctx, w.tag, w.stepped.Add(time.Nanosecond), mark, func(s *measure.Sample) error {
			n++
			d.record.add(w.recorded(s))
			return nil
		})
		if err != nil {
			return 0, fmt.Errorf("catch up %s: %w", w.tag, err)
		}
	}
	return n, nil
}
