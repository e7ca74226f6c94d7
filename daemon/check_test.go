package daemon

import (
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// bench is a loop with a contact that is known, and somebody who opens a1 there for
// minutes at a time. Time is that of the samples.
type bench struct {
	t   *testing.T
	p   *config.Plant
	d   *Daemon
	a   past
	now time.Time
}

func newBench(t *testing.T) *bench {
	t.Helper()
	p := dozen(t)
	now := time.Now().Truncate(drift.Mark)
	b := &bench{t: t, p: p, d: month(t, p), a: grows(t, p, now.Add(day)), now: now}
	b.a.only = []int{growing}
	if err := b.d.snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) loop() *watched { return b.d.current().loops[growing] }

// check begins a function check of so long.
func (b *bench) check(span time.Duration) {
	b.t.Helper()
	if err := b.d.check(b.t.Context(), b.loop(), "kim", b.now, span); err != nil {
		b.t.Fatal(err)
	}
}

// hand takes a sample every five seconds for so long; a1 is open in the second and
// third of every four minutes.
func (b *bench) hand(span time.Duration) {
	b.t.Helper()
	for end := b.now.Add(span); b.now.Before(end); {
		b.now = b.now.Add(5 * time.Second)
		s := b.a.sim.SampleAt(growing, b.now)
		if m := b.now.Minute() % 4; m == 1 || m == 2 {
			s.Leads[measure.A1], s.Sensor, s.Reading = quantity.Ohm(quantity.Absent), quantity.Ohm(quantity.Absent), quantity.DegC(quantity.Absent)
		}
		b.take(&s)
	}
}

// still takes a sample every minute for so long.
func (b *bench) still(span time.Duration) {
	b.t.Helper()
	for end := b.now.Add(span); b.now.Before(end); {
		b.now = b.now.Add(time.Minute)
		s := b.a.sim.SampleAt(growing, b.now)
		b.take(&s)
	}
}

func (b *bench) take(s *measure.Sample) {
	b.d.history.Append(b.loop().tag, s)
	b.d.record.add(b.loop().recorded(s))
}

// fall ends the daemon as a power failure does, and starts it again after so long.
func (b *bench) fall(away time.Duration) {
	b.t.Helper()
	r := &taken{t: b.t, p: b.p, past: b.a, d: b.d, plants: map[time.Time][]byte{}}
	recordAll(b.t, b.d)
	r.end()
	b.now = b.now.Add(away)
	r.start(b.now)
	b.d = r.d
}

// events returns what is on record of the loop but for its resolution: the past comes in
// steps and the samples of now do not, and where a block of both ends is a matter of the
// hour at which the test runs.
func (b *bench) events() []finding.Finding {
	b.t.Helper()
	recordAll(b.t, b.d)
	return slices.DeleteFunc(events(b.t, b.d, b.loop().tag), func(f finding.Finding) bool { return f.Kind == finding.DeviceChanged })
}

// stands wants the condition, and the drift to stand below it.
func (b *bench) stands(want diagnostics.Condition) {
	b.t.Helper()
	if c := b.loop().condition(); c != want {
		b.t.Errorf("condition %q, want %q", c, want)
	}
	v, _ := (pages{b.d}).Loop(b.loop().tag)
	g := b.loop().gauges(&b.p.Loops[growing])
	if v.Condition != want || g.Condition != want {
		b.t.Errorf("condition %q on the page, %q for the metrics, want %q", v.Condition, g.Condition, want)
	}
	if standingOf(b.d, growing).find(finding.LeadDrift) == nil {
		b.t.Errorf("the drift does not stand: %v", standingOf(b.d, growing))
	}
}

// underneath is the condition of the contact that is known.
func (b *bench) underneath() diagnostics.Condition { return standingOf(b.d, growing).condition() }

// The hand is a finding without a check, and none in one; the check ends with the time
// of the samples, and what stood stands through it, on record and on the page.
func TestTheHandInAFunctionCheckIsNotTold(t *testing.T) {
	for _, says := range []bool{true, false} {
		b := newBench(t)
		told := len(b.events())
		if says {
			b.check(20 * time.Minute)
			b.stands(diagnostics.FunctionCheck)
		}
		b.hand(20*time.Minute - 5*time.Second)
		if !says {
			if n := len(b.events()); n == told {
				t.Error("the hand is not seen without a check: the test shows nothing")
			}
			continue
		}
		b.stands(diagnostics.FunctionCheck)
		b.still(time.Minute)
		b.stands(b.underneath())
		if n := b.events(); len(n) != told {
			t.Errorf("%d events on record before the check, %d after it: %v", told, len(n), n[told:])
		}
		if err := b.d.history.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		stored := 0
		err := b.d.history.Replay(t.Context(), b.loop().tag, b.now.Add(-30*time.Minute), b.now.Add(time.Second), func(*measure.Sample) error { stored++; return nil })
		if err != nil || stored < 240 {
			t.Errorf("%d samples of the check are stored, error %v; want all 240", stored, err)
		}
	}
}

// A loop that gives no sample while somebody works there is no longer in function
// check when the time is over; its silence is told then, not before.
func TestAFunctionCheckEndsWithTheClock(t *testing.T) {
	b := newBench(t)
	b.check(time.Hour)
	for m := range 59 {
		b.d.pass(presence.At(b.now.Add(time.Duration(m+1) * time.Minute)))
	}
	b.stands(diagnostics.FunctionCheck)
	if f := standingOf(b.d, growing).find(finding.Stale); f != nil {
		t.Errorf("in the check: %s", f.Evidence)
	}
	b.d.pass(presence.At(b.now.Add(time.Hour)))
	if standingOf(b.d, growing).find(finding.Stale) == nil {
		t.Error("an hour of silence is not told after the check")
	}
	b.stands(b.underneath())
}

// A transmitter without its sensor tells a fault: in a check that is the hand's doing.
func TestADeviceFaultInAFunctionCheckIsNotTold(t *testing.T) {
	b := newBench(t)
	b.check(2 * time.Minute)
	for s := range 300 {
		at := b.now.Add(time.Duration(s+1) * time.Second)
		b.loop().take(read(at, measure.Device), at)
		if f := standingOf(b.d, growing).find(finding.DeviceFault); (f != nil) != (s >= 119) {
			t.Fatalf("second %d of a check of 120: stands %v", s+1, f)
		}
	}
}

// A start in the middle of a check, after a power failure, goes on with it; one
// after its time ends it.
func TestAFunctionCheckGoesOnAfterAStart(t *testing.T) {
	whole := newBench(t)
	told := len(whole.events())
	whole.check(20 * time.Minute)
	whole.hand(10 * time.Minute)
	b := &bench{t: t, p: whole.p, d: whole.d, a: whole.a, now: whole.now}
	b.fall(0)
	b.stands(diagnostics.FunctionCheck)
	b.hand(10*time.Minute - 5*time.Second)
	b.stands(diagnostics.FunctionCheck)
	b.still(2 * time.Hour)
	b.stands(b.underneath())
	if n := b.events(); len(n) != told {
		t.Errorf("%d events on record before the check, %d after it: %v", told, len(n), n[told:])
	}
	b.check(20 * time.Minute)
	b.hand(10 * time.Minute)
	b.fall(15 * time.Minute)
	b.stands(b.underneath())
	b.still(10 * time.Minute)
	if n := b.events(); len(n) != told {
		t.Errorf("%d events on record before the second check, %d after it: %v", told, len(n), n[told:])
	}
}

// What was done is known after a power failure as well.
func TestWorkDoneIsKnownAfterAStart(t *testing.T) {
	b := newBench(t)
	b.check(20 * time.Minute)
	b.hand(10 * time.Minute)
	tag := b.loop().tag
	j := records.JournalEntry{Time: b.now, Loop: tag, Who: "kim", Text: "work done: retightened a1"}
	if err := b.d.endCheck(t.Context(), b.loop(), j, drift.WorkDone); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if f := standingOf(b.d, growing).find(finding.LeadDrift); f != nil || b.loop().condition() == diagnostics.FunctionCheck {
			t.Errorf("condition %s, still there: %v", b.loop().condition(), f)
		}
		if at := b.loop().diagnostics().Engine().Publish().Anew; !at.Equal(b.now) {
			t.Errorf("learnt since %s, want %s", at, b.now)
		}
		recordAll(t, b.d)
		if f, open := onRecord(t, b.d, tag)[finding.LeadDrift]; open {
			t.Errorf("open on record: %s", f.Evidence)
		}
		b.fall(0)
	}
	if !slices.ContainsFunc(events(t, b.d, tag), func(f finding.Finding) bool {
		return f.State == finding.Cleared && strings.Contains(f.Evidence, "work done, learning anew")
	}) {
		t.Error("no event says why the drift is closed")
	}
}

// A reload in the middle leaves the check as it is, also where the loop is described
// so differently that it is learnt anew; it ends in its time.
func TestAFunctionCheckGoesOnOverAReload(t *testing.T) {
	for name, change := range map[string]func(*config.Loop){
		"a limit":  func(l *config.Loop) { l.LimitHigh, l.LimitLow = 7, -7 },
		"a method": func(l *config.Loop) { l.Method = wiring.ThreeWireLoop },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.now = time.Now().Truncate(time.Second) // a reload has the clock of the machine
			b.check(20 * time.Minute)
			until := b.loop().checkedUntil()
			reload(t, b.d, changed(b.p, func(q *config.Plant) { change(&q.Loops[growing]) }))
			if got := b.loop().checkedUntil(); !got.Equal(until) || b.loop().condition() != diagnostics.FunctionCheck {
				t.Errorf("condition %s until %s after the reload, want function check until %s", b.loop().condition(), got, until)
			}
			b.now = until
			b.still(time.Minute)
			if b.loop().condition() == diagnostics.FunctionCheck {
				t.Error("the check goes on after its time")
			}
		})
	}
}
