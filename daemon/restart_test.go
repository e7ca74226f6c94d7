package daemon

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
)

// taken runs samples on as the daemon runs live: the exchange comes when some
// loops have been read after its mark and others not, and a snapshot after each.
type taken struct {
	t    *testing.T
	p    *config.Plant
	past past
	d    *Daemon

	plants map[time.Time][]byte // the plant level's state after each mark
}

// keep notes what the plant level knows since its last mark.
func (r *taken) keep() {
	g := r.d.current()
	r.plants[g.near.mark.UTC()] = g.near.site.Snapshot(nil)
}

// run takes the samples with from ≤ time < to: each loop once a minute, one
// second after the loop before it.
func (r *taken) run(from, to time.Time) {
	r.t.Helper()
	g := r.d.current()
	for minute := from.Truncate(time.Minute); minute.Before(to); minute = minute.Add(time.Minute) {
		for i := range g.loops {
			at := minute.Add(time.Duration(i) * time.Second)
			if at.Before(from) || !at.Before(to) {
				continue
			}
			s := r.past.sim.SampleAt(i, at)
			r.d.history.Append(g.loops[i].tag, &s)
			r.d.record.add(g.loops[i].recorded(&s))
			// The grace passes between two loops.
			if mark := s.At.Add(-exchangeGrace / 3).Truncate(drift.Mark); g.passed(mark) {
				r.d.record.add(g.exchange(mark, nil))
				r.keep()
				if err := r.d.snapshot(r.t.Context()); err != nil {
					r.t.Fatal(err)
				}
			}
		}
	}
}

// stop is the orderly end: the last mark, the last snapshot.
func (r *taken) stop(at time.Time) {
	r.t.Helper()
	r.d.lastMark(at)
	r.keep()
	if err := r.d.snapshot(r.t.Context()); err != nil {
		r.t.Fatal(err)
	}
	r.end()
}

// end is the end without a snapshot, as a power failure makes it; what was polled
// is on the disk.
func (r *taken) end() {
	r.t.Helper()
	if err := r.d.history.Flush(r.t.Context()); err != nil {
		r.t.Fatal(err)
	}
	if err := r.d.Close(); err != nil {
		r.t.Fatal(err)
	}
}

// start opens the daemon again.
func (r *taken) start(at time.Time) {
	r.t.Helper()
	d, err := openAt(r.p, Options{}, at)
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { d.Close() })
	r.d = d
	r.keep()
}

// outcome is what can be known of a run afterwards.
type outcome struct {
	states [][]byte             // of each loop, as a snapshot
	plants map[time.Time][]byte // by mark
	views  []string
	events []string
}

func (r *taken) outcome() (o outcome) {
	recordAll(r.t, r.d)
	g := r.d.current()
	o.plants = r.plants
	for _, w := range g.loops {
		o.states = append(o.states, w.diagnostics().Snapshot(nil))
		o.views = append(o.views, fmt.Sprintf("%s: %+v %+v", w.tag, viewOf(w), w.diagnostics().Engine().Estimate()))
		for _, f := range events(r.t, r.d, w.tag) {
			if f.Kind == finding.UnbalancedCable { // told when the plant is loaded, by the wall clock
				continue
			}
			o.events = append(o.events, fmt.Sprintf("%s %s %s %s %v %v %v %v %s %q", f.Time.Format(time.RFC3339), f.Loop, f.Kind, f.State,
				f.Leads.Names(), f.Contact, f.Error, f.Loops, f.Box, f.Evidence))
		}
	}
	return o
}

func (o *outcome) check(t *testing.T, want *outcome) {
	t.Helper()
	for i := range want.states {
		if !bytes.Equal(o.states[i], want.states[i]) {
			t.Errorf("state of %s differs from that of one unbroken run\n got %s\nwant %s", dozenTags[i], o.views[i], want.views[i])
		}
	}
	if len(o.plants) != len(want.plants) {
		t.Errorf("%d marks were exchanged, %d in one unbroken run", len(o.plants), len(want.plants))
	}
	for mark, state := range want.plants {
		if !bytes.Equal(o.plants[mark], state) {
			t.Errorf("the plant level after mark %s differs from that of one unbroken run", mark.Format(time.TimeOnly))
		}
	}
	if !slices.Equal(o.events, want.events) {
		t.Errorf("events on record:\n got %v\nwant %v", o.events, want.events)
	}
}

// A run that is broken and goes on from its records comes out as one unbroken
// run, bit for bit: states, findings on record, plant level.
func TestRestartChangesNothing(t *testing.T) {
	at := time.Now().Add(-2 * time.Hour).Truncate(drift.Mark) // the mark that restarts lie about
	from, to := at.Add(-time.Hour), at.Add(time.Hour)
	origin := sumAmongNeighbours(dozen(t))
	a := grows(t, origin, at.Add(day))
	d := opened(t, origin)
	lived(t, d, a, from.Add(-30*day), from)
	(&taken{t: t, d: d, plants: map[time.Time][]byte{}}).stop(from)
	lives := func(t *testing.T) *taken { // each in a copy of the same folder
		p := changed(origin, func(p *config.Plant) { p.Store.Dir = filepath.Join(t.TempDir(), "data") })
		if err := os.CopyFS(p.Store.Dir, os.DirFS(origin.Store.Dir)); err != nil {
			t.Fatal(err)
		}
		r := &taken{t: t, p: p, past: a, plants: map[time.Time][]byte{}}
		r.start(from)
		return r
	}
	whole := lives(t)
	whole.run(from, to)
	want := whole.outcome()
	if len(want.events) == 0 || !slices.ContainsFunc(want.events, func(s string) bool { return bytes.Contains([]byte(s), []byte("box")) }) {
		t.Fatalf("nothing was found, or no common cause: the test shows too little\n%v", want.events)
	}
	restarts := []struct {
		name string
		at   time.Time
	}{
		{"at a mark", at},
		{"just before a mark", at.Add(-time.Minute)},
		{"within the grace of a mark", at.Add(3 * time.Second)},
		{"just after a mark", at.Add(time.Minute)},
		{"between marks", at.Add(5 * time.Minute)},
	}
	for _, c := range restarts {
		t.Run(c.name, func(t *testing.T) {
			r := lives(t)
			r.run(from, c.at)
			r.stop(c.at)
			r.start(c.at)
			r.run(c.at, to)
			got := r.outcome()
			got.check(t, &want)
		})
		t.Run(c.name+" without a last snapshot", func(t *testing.T) {
			r := lives(t)
			r.run(from, c.at)
			recordAll(t, r.d)
			r.end()
			r.start(c.at)
			r.run(c.at, to)
			got := r.outcome()
			got.check(t, &want)
		})
	}
}

// A snapshot has a row for each loop that was sampled, one for the plant level
// once a mark has passed, and none of a loop that is gone.
func TestSnapshotRowsAreTheLoops(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	at := time.Now().Truncate(time.Second)
	for i := range d.current().loops {
		d.current().Take(i, read(at, measure.Good))
	}
	rows := func() []string {
		t.Helper()
		if err := d.snapshot(t.Context()); err != nil {
			t.Fatal(err)
		}
		s, err := d.records.LoadSnapshots(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var tags []string
		for tag, n := range s {
			tags = append(tags, tag)
			if tag != siteKey && !n.AsOf.Equal(at) {
				t.Errorf("%s: as of %s, want the slot of its last sample, %s", tag, n.AsOf, at)
			}
		}
		slices.Sort(tags)
		return tags
	}
	if got := rows(); !slices.Equal(got, dozenTags) {
		t.Errorf("snapshots of %v, want the loops %v", got, dozenTags)
	}
	d.current().exchange(at.Truncate(drift.Mark), nil)
	if got := rows(); !slices.Equal(got, append([]string{siteKey}, dozenTags...)) {
		t.Errorf("snapshots of %q, want the loops and the plant level", got)
	}
	reload(t, d, changed(p, func(q *config.Plant) { q.Loops = q.Loops[1:] }))
	if got := rows(); slices.Contains(got, dozenTags[0]) {
		t.Errorf("the snapshot of %s is kept after the loop has gone", dozenTags[0])
	}
}

// Findings whose state is not usable any more are closed, and say why: nothing
// could ever close them. Those of presence and of boxes stay.
func TestRefusedSnapshotClosesItsFindings(t *testing.T) {
	for name, body := range map[string][]byte{"damaged": []byte("not a snapshot"), "none": nil} {
		t.Run(name, func(t *testing.T) {
			p := dozen(t)
			d := month(t, p)
			w := d.current().loops[growing]
			now := time.Now()
			w.tick(presence.At(now.Add(-time.Hour)))
			d.record.add(w.tick(presence.At(now)))
			if err := d.snapshot(t.Context()); err != nil {
				t.Fatal(err)
			}
			open := onRecord(t, d, w.tag)
			if _, box := open[finding.BoxCommonCause]; !box || len(open) < 3 {
				t.Fatalf("open on record %v, want a drift, stale and a box", open)
			}
			other(t, p, fmt.Sprintf("DELETE FROM snapshot WHERE loop = '%s'", w.tag))
			if body != nil {
				if err := d.records.SaveSnapshot(t.Context(), w.tag, records.Snapshot{AsOf: now, Body: body}); err != nil {
					t.Fatal(err)
				}
			}
			if err := d.Close(); err != nil {
				t.Fatal(err)
			}
			d = opened(t, p)
			open = onRecord(t, d, w.tag)
			_, drifts := open[finding.LeadDrift]
			_, stale := open[finding.Stale]
			_, box := open[finding.BoxCommonCause]
			if drifts || !stale || !box {
				t.Errorf("open on record after the start: drift %t, stale %t, box %t; want the drift closed and the others open", drifts, stale, box)
			}
			s := standingOf(d, growing)
			if s.find(finding.LeadDrift) != nil || s.find(finding.Stale) == nil || s.find(finding.BoxCommonCause) == nil {
				t.Errorf("%v stands on the page", s)
			}
			if f := standingOf(d, growing2).find(finding.LeadDrift); f == nil {
				t.Error("the drift of a loop whose snapshot is sound was closed too")
			}
		})
	}
}

// A loop that was taken out of the plant while the daemon did not run leaves
// nothing open on record.
func TestStartWithoutALoopClosesItsFindings(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	if err := d.snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	d = opened(t, changed(p, func(q *config.Plant) { q.Loops = q.Loops[1:] }))
	for k, f := range onRecord(t, d, dozenTags[growing]) {
		if f.Box == "" {
			t.Errorf("%s of a loop that is no longer in the plant is open on record", k)
		}
	}
	if f := standingOf(d, 0).find(finding.LeadDrift); f == nil {
		t.Errorf("the drift of %s does not stand after the start", dozenTags[growing2])
	}
}
