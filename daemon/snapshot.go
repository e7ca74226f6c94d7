package daemon

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"ohmdrift/daemon/history"
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
	d.saving.Lock()
	defer d.saving.Unlock()
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

// entered stores the state of one loop after an entry of a person: the samples that
// are on the disk do not tell a start what was entered.
func (d *Daemon) entered(ctx context.Context, w *watched) {
	if err := d.save(ctx, w); err != nil {
		d.log.Error().Err(err).Str("loop", w.tag).Msg("no snapshot after what was entered; a restart before the next mark would not know of it")
	}
}

func (d *Daemon) save(ctx context.Context, w *watched) error {
	d.saving.Lock()
	defer d.saving.Unlock()
	at, body := w.snapshot()
	if at.IsZero() {
		return nil // nothing was learnt yet
	}
	if err := d.record.drain(ctx); err != nil {
		return fmt.Errorf("findings wait for the database: %w", err)
	}
	if err := d.history.Flush(ctx); err != nil {
		return err
	}
	return d.records.SaveSnapshot(ctx, w.tag, records.Snapshot{AsOf: at, Body: body})
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
func (d *Daemon) resume(ctx context.Context, now time.Time) error {
	g := d.current()
	open, err := d.records.OpenFindings(ctx)
	if err != nil {
		return err
	}
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
	d.resumeSite(g, snapshots, now)
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
	if err := d.catchUp(ctx, g, now); err != nil {
		return err
	}
	for _, w := range g.loops {
		w.overdue(now)
	}
	return nil
}

func (d *Daemon) resumeSite(g *generation, snapshots map[string]records.Snapshot, now time.Time) {
	err := errors.New("there is no snapshot of it")
	if s, ok := snapshots[siteKey]; ok {
		if err = g.siteRestore(s.AsOf, s.Body); err == nil {
			return
		}
		d.log.Warn().Err(err).Msg("what the loops have in common is not usable any more; neighbours are heard again from the next mark on, partners are learnt anew")
	}
	d.record.add(g.forgetPlant(now, fmt.Sprintf("what was learnt of the plant as a whole is lost, it is learnt anew: %v", err)))
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

// backlog is the stored samples of a loop that its engine has not seen: from is
// the first moment, until that of the last sample.
type backlog struct {
	w           *watched
	from, until time.Time
}

// backlogs finds what was stored after the snapshots, at most catchUpMost before
// and after the newest of them. Loops without any are not among them, so the
// time for which the daemon stood still costs nothing.
func (d *Daemon) backlogs(ctx context.Context, g *generation, now time.Time) (all []backlog, err error) {
	last := time.Time{}
	for _, w := range g.loops {
		if w.stepped.After(last) {
			last = w.stepped
		}
	}
	oldest, end := last.Add(-catchUpMost), last.Add(catchUpMost)
	if now.Before(end) {
		end = now
	}
	for _, w := range g.loops {
		if w.stepped.IsZero() {
			continue
		}
		b := backlog{w: w, from: w.stepped.Add(time.Nanosecond)}
		if b.from.Before(oldest) {
			b.from = oldest
		}
		stored, err := d.history.Range(ctx, w.tag, history.Quality, b.from, end)
		if err != nil {
			return nil, fmt.Errorf("catch up %s: %w", w.tag, err)
		}
		if n := len(stored); n > 0 {
			b.from, b.until = stored[0].At, stored[n-1].At
			all = append(all, b)
		}
	}
	return all, nil
}

// catchUp runs the samples stored after the snapshots through the engines, mark
// by mark as they came.
func (d *Daemon) catchUp(ctx context.Context, g *generation, now time.Time) error {
	all, err := d.backlogs(ctx, g, now)
	if err != nil || len(all) == 0 {
		return err
	}
	first, last := all[0].from, all[0].until
	for _, b := range all {
		if b.from.Before(first) {
			first = b.from
		}
		if b.until.After(last) {
			last = b.until
		}
	}
	for from := first.Truncate(drift.Mark); !from.After(last); {
		mark := from.Add(drift.Mark)
		if from.After(g.near.mark) {
			d.record.add(g.exchange(from, nil))
		}
		for _, b := range all {
			if err := d.catchUpTo(ctx, b, from, mark); err != nil {
				return err
			}
		}
		from = mark
	}
	return nil
}

// catchUpTo runs what is stored of one interval.
func (d *Daemon) catchUpTo(ctx context.Context, b backlog, from, mark time.Time) error {
	if !b.from.Before(mark) || b.until.Before(from) {
		return nil
	}
	if from.Before(b.from) {
		from = b.from
	}
	err := d.history.Replay(ctx, b.w.tag, from, mark, func(s *measure.Sample) error {
		d.record.add(b.w.recorded(s))
		return nil
	})
	if err != nil {
		return fmt.Errorf("catch up %s: %w", b.w.tag, err)
	}
	return nil
}
