package daemon

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/config"
	"ohmdrift/devices"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
	"ohmdrift/diagnostics/wiring"
)

// hourOfBlock is the end of a six-hour block of the engine, when what a loop
// publishes changes most: it is also a mark.
var hourOfBlock = time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)

// sumAmongNeighbours puts a loop that reports one sum only into the box of others:
// such a loop takes its copper from what they say, so a wrong word shows in it.
func sumAmongNeighbours(p *config.Plant) *config.Plant {
	return changed(p, func(p *config.Plant) {
		box := &p.Loops[growing]
		s := &p.Loops[sums]
		s.Area, s.Box, s.Cabinet, s.Cable = box.Area, box.Box, box.Cabinet, ""
		s.Wires, s.Method = 3, wiring.ThreeWireDual // so that b1 + b2 is all that is seen of the leads
	})
}

// crowd is a generation without stores, for the marks alone.
func crowd(t testing.TB, p *config.Plant) *generation {
	t.Helper()
	g, err := (&Daemon{}).newGeneration(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// learntBy returns a way to make generations that have learnt the past up to a
// moment, exchanged at the mark before it included.
func learntBy(t testing.TB, p *config.Plant, a past, until time.Time) func(testing.TB) *generation {
	t.Helper()
	g := crowd(t, p)
	r := &recall{g: g, ctx: t.Context()}
	for tag, s := range a.each(until.Add(-12*day), until) {
		r.take(tag, s)
		r.said = nil
	}
	bodies := make([][]byte, len(g.loops))
	for i, w := range g.loops {
		bodies[i] = w.diagnostics().Snapshot(nil)
	}
	site := g.near.site.Snapshot(nil)
	return func(t testing.TB) *generation {
		next := crowd(t, p)
		for i, w := range next.loops {
			if err := w.follow.Restore(bodies[i]); err != nil {
				t.Fatal(err)
			}
			w.near, w.stepped = g.loops[i].near, g.loops[i].stepped
		}
		if err := next.near.site.Restore(site); err != nil {
			t.Fatal(err)
		}
		next.near.mark = g.near.mark
		return next
	}
}

// stateOf is all that a generation knows, to be compared.
func stateOf(g *generation) []byte {
	b := g.near.site.Snapshot(nil)
	for _, w := range g.loops {
		b = w.follow.Snapshot(b)
	}
	return b
}

// interval is what comes between two marks: the samples of each loop in time
// order.
func (a past) interval(from time.Time, steps []time.Duration) [][]measure.Sample {
	byLoop := make([][]measure.Sample, len(a.plant.Loops))
	for i := range byLoop {
		for at := from.Add(steps[i] / 2); at.Before(from.Add(drift.Mark)); at = at.Add(steps[i]) {
			byLoop[i] = append(byLoop[i], a.sim.SampleAt(i, at))
		}
	}
	return byLoop
}

// In whatever order links deliver, and however many samples of the new interval
// have come before the exchange runs, every loop hears and publishes the same and
// every state comes out the same, bit for bit.
func TestOrderOfLinksChangesNothing(t *testing.T) {
	p := sumAmongNeighbours(dozen(t))
	a := grows(t, p, hourOfBlock.Add(day))
	steps := make([]time.Duration, len(p.Loops))
	for i := range steps {
		steps[i] = []time.Duration{time.Minute, 90 * time.Second, 7 * time.Minute}[i%3]
	}
	from := hourOfBlock.Add(-2 * drift.Mark)
	fresh := learntBy(t, p, a, from)
	const marks = 5
	intervals := make([][][]measure.Sample, marks)
	for k := range intervals {
		intervals[k] = a.interval(from.Add(time.Duration(k)*drift.Mark), steps)
	}
	want := fresh(t)
	for k, byLoop := range intervals {
		want.exchange(from.Add(time.Duration(k)*drift.Mark), nil)
		deliver(want, byLoop, nil)
	}
	if f := want.near.site.Neighbour(growing); f.Loops == 0 {
		t.Fatal("no loop hears of its neighbours: the past is too short to show anything")
	}
	if view := viewOf(want.loops[sums]); view.Factor == 0 || view.Factor == 1 {
		t.Fatalf("copper factor %g of the loop that needs its neighbours: it does not hear them", view.Factor)
	}
	state := stateOf(want)
	rapid.Check(t, func(rt *rapid.T) {
		g := fresh(t)
		for k, byLoop := range intervals {
			ahead := make([]int, len(byLoop)) // samples that come before the exchange
			for i := range ahead {
				ahead[i] = rapid.IntRange(0, min(3, len(byLoop[i]))).Draw(rt, "ahead")
			}
			order := rapid.Permutation(loopNumbers(len(byLoop))).Draw(rt, "order")
			early, rest := split(byLoop, ahead)
			deliver(g, early, order)
			g.exchange(from.Add(time.Duration(k)*drift.Mark), nil)
			slices.Reverse(order)
			deliver(g, rest, order)
		}
		if !bytes.Equal(stateOf(g), state) {
			rt.Fatal("the state of the plant depends on the order of its links or on when a mark is exchanged")
		}
	})
}

func loopNumbers(n int) []int {
	ns := make([]int, n)
	for i := range ns {
		ns[i] = i
	}
	return ns
}

func split(byLoop [][]measure.Sample, at []int) (early, rest [][]measure.Sample) {
	for i, s := range byLoop {
		early, rest = append(early, s[:at[i]]), append(rest, s[at[i]:])
	}
	return early, rest
}

// deliver passes the samples loop by loop, in the order given; nil = as numbered.
func deliver(g *generation, byLoop [][]measure.Sample, order []int) {
	if order == nil {
		order = loopNumbers(len(byLoop))
	}
	for _, i := range order {
		for k := range byLoop[i] {
			g.loops[i].recorded(&byLoop[i][k])
		}
	}
}

// What a loop publishes at a mark is what it knew before its first sample after
// it, whether the exchange runs before or after that sample.
func TestPublishedIsOfBeforeTheMark(t *testing.T) {
	p := sumAmongNeighbours(dozen(t))
	a := grows(t, p, hourOfBlock.Add(day))
	g := learntBy(t, p, a, hourOfBlock)(t)
	changes := 0
	for i, w := range g.loops {
		before := w.publish(hourOfBlock)
		if known := w.follow.Engine().Publish(); !samePublished(known, before) {
			t.Errorf("%s: publishes %v before the mark, its engine knows %v", w.tag, before, known)
		}
		for k := range 3 {
			s := a.sim.SampleAt(i, hourOfBlock.Add(time.Duration(k)*time.Second))
			w.recorded(&s)
			if got := w.publish(hourOfBlock); !samePublished(got, before) {
				t.Errorf("%s: publishes %v after sample %d, %v before it", w.tag, got, k, before)
			}
		}
		if !samePublished(w.follow.Engine().Publish(), before) {
			changes++
		}
	}
	if changes == 0 {
		t.Error("no engine learnt anything from its first samples after the mark: the test shows nothing")
	}
}

// samePublished compares with NaN equal to NaN: not known on both sides.
func samePublished(a, b drift.Published) bool {
	number := func(x, y float64) bool { return x == y || x != x && y != y }
	return number(a.Factor, b.Factor) && number(float64(a.Contact), float64(b.Contact)) && number(a.Share, b.Share) &&
		number(float64(a.Reading), float64(b.Reading)) && a.ReadAt.Equal(b.ReadAt) && a.Anew.Equal(b.Anew) &&
		a.Kind == b.Kind && a.Leads == b.Leads && a.Since.Equal(b.Since)
}

// A wall clock that is set: no mark twice, none lost but those the clock leaves
// out, and after a clock that was far ahead the marks go on.
func TestMarksFollowTheWallClock(t *testing.T) {
	at := hourOfBlock
	tests := []struct {
		name  string
		clock []time.Duration // of the mark before now, since at
		want  []bool
	}{
		{"the first second exchanges nothing", []time.Duration{0, 0, 0}, []bool{false, false, false}},
		{"each mark once", []time.Duration{0, drift.Mark, drift.Mark, 2 * drift.Mark}, []bool{false, true, false, true}},
		{"forth over many marks: one exchange", []time.Duration{0, 48 * time.Hour, 48 * time.Hour}, []bool{false, true, false}},
		{"back by an interval or less: none twice", []time.Duration{0, 2 * drift.Mark, drift.Mark, 2 * drift.Mark, 3 * drift.Mark}, []bool{false, true, false, false, true}},
		{"back by two days: the marks go on", []time.Duration{48 * time.Hour, 0, drift.Mark, drift.Mark, 2 * drift.Mark}, []bool{false, true, true, false, true}},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			g := crowd(t, dozen(t))
			for k, d := range c.clock {
				mark := at.Add(d)
				got := g.passed(mark)
				if got != c.want[k] {
					t.Errorf("second %d, mark %s: exchanged %t, want %t", k, mark.Format(time.TimeOnly), got, c.want[k])
				}
				if got {
					g.exchange(mark, nil)
				}
			}
		})
	}
}

// A start exchanges nothing before the first mark and its grace have passed, and
// a reload does not repeat one.
func TestFirstSecondExchangesNothing(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	d.second(t.Context())
	if s, err := d.records.LoadSnapshots(t.Context()); err != nil || len(s) != 0 {
		t.Errorf("%d snapshots, err %v: the first second after a start exchanges a mark", len(s), err)
	}
	mark := d.current().near.mark
	if mark.IsZero() || !mark.Equal(mark.Truncate(drift.Mark)) {
		t.Fatalf("the interval under way is taken to have begun at %s", mark)
	}
	reload(t, d, changed(p, func(q *config.Plant) { q.Loops = slices.Delete(q.Loops, sound, sound+1) }))
	if g := d.current(); !g.near.mark.Equal(mark) || g.passed(mark) {
		t.Error("the first second after a reload exchanges the mark once more")
	}
}

// Marks are exchanged some seconds after they have passed, each once, and neither
// they nor a step of the wall clock make a loop stale that is being read.
func TestMarksByTheClock(t *testing.T) {
	p := dozen(t)
	a := grows(t, p, hourOfBlock.Add(30*day))
	tests := []struct {
		name  string
		step  time.Duration // of the wall clock after half an hour
		marks int
	}{
		{"no step", 0, 6},                          // the first seconds belong to the mark before
		{"two hours forth", 2 * time.Hour, 7},      // at once, the newest of those left out
		{"five minutes back", -5 * time.Minute, 6}, // 12:30 once, and the hour ends at 12:55
		{"two hours back", -2 * time.Hour, 7},      // at once, from there on as before
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			d := &Daemon{}
			d.record = newRecorder(nil, d.log, func() {})
			g := crowd(t, p)
			d.running.Store(g)
			good := make([]devices.Reading, len(g.loops))
			for i := range good {
				good[i].Sample = a.sim.SampleAt(i, hourOfBlock)
			}
			marks := 0
			const step = 5 // s
			for s := 0; s < 3600; s += step {
				mono := hourOfBlock.Add(time.Duration(s) * time.Second)
				wall := mono
				if s >= 1800+60 {
					wall = wall.Add(c.step)
				}
				for i, w := range g.loops {
					good[i].At = wall
					_, said := w.take(&good[i], mono)
					d.record.add(said)
				}
				if !d.pass(presence.Moment{Wall: wall, Mono: mono}) {
					continue
				}
				marks++
				if after := wall.Sub(g.near.mark); after < exchangeGrace || s != 1860 && after > exchangeGrace+step*time.Second {
					t.Errorf("mark %s exchanged %s after it", g.near.mark.Format(time.TimeOnly), after)
				}
			}
			if marks != c.marks {
				t.Errorf("%d marks exchanged in an hour, want %d", marks, c.marks)
			}
			for _, f := range d.record.waiting {
				t.Errorf("%s of %s at %s: %s", f.Kind, f.Loop, f.Time.Format(time.TimeOnly), f.Evidence)
			}
		})
	}
}

// A mark that passes while a reload builds its plant is not exchanged again.
func TestMarkDuringAReload(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	before := d.current()
	before.near.mark = hourOfBlock
	next, err := d.newGeneration(changed(p, func(*config.Plant) {}), before)
	if err != nil {
		t.Fatal(err)
	}
	mark := hourOfBlock.Add(drift.Mark)
	before.exchange(mark, nil)
	d.accept(before, next)
	if g := d.current(); g != next || !g.near.mark.Equal(mark) || g.passed(mark) {
		t.Errorf("the last mark of the new plant is %s, want %s", g.near.mark.Format(time.TimeOnly), mark.Format(time.TimeOnly))
	}
}
