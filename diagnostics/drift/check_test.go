package drift

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// checked is a loop that is polled every minute and a contact that a hand moves: it
// is open every third poll of the first 40 minutes of the function checks, which
// begin at 12:00 of some days.
type checked struct {
	e   *Engine
	c   cable
	now int // the next sample
}

// perHour is the samples of an hour of checked.
const perHour = 60

func newChecked(t *testing.T, contact func(d float64, v *[measure.LeadCount]float64), days ...float64) *checked {
	t.Helper()
	s := testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads)
	s.Interval = time.Minute
	x := &checked{e: mustEngine(t, s), c: newCable(11)}
	x.c.step = time.Minute
	x.c.fault = func(d float64, v *[measure.LeadCount]float64) {
		if contact != nil {
			contact(d, v)
		}
		for _, at := range days {
			if i := int(math.Round((d - at - 0.5) * 24 * perHour)); i > 0 && i < 40 && i%3 == 0 {
				v[measure.B1] += 0.4
			}
		}
	}
	return x
}

// at is a moment of a day.
func (x *checked) at(d float64) time.Time {
	return testStart.Add(time.Duration(d * float64(24*time.Hour)))
}

// run steps up to a day.
func (x *checked) run(to float64) []finding.Finding {
	from := x.now
	x.now = int(math.Round(to * 24 * perHour))
	return x.c.feed(x.e, from, x.now)
}

// spikes returns what is counted of lead b1.
func (x *checked) spikes() spikeState {
	for k := range x.e.m.n {
		if x.e.m.ch[k].lead == measure.B1 {
			return x.e.s.Ch[k].Spike
		}
	}
	panic("no b1")
}

// opens opens lead b1 by some Ω for one poll at some days.
func opens(ohm float64, days ...float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		for _, x := range days {
			if math.Abs(d-x) < 0.5/(24*perHour) {
				v[measure.B1] += ohm
			}
		}
	}
}

const noon, oneOClock = 0.5, 0.5 + 1.0/24

// The hand that moves a contact in three function checks leaves neither a finding
// nor odds nor a count; without the checks it is called a contact that opens.
func TestAHandInAFunctionCheckIsNoContact(t *testing.T) {
	for _, says := range []bool{false, true} {
		x := newChecked(t, nil, 30, 31, 33)
		var out []finding.Finding
		for _, d := range []float64{30, 31, 33} {
			out = append(out, x.run(d+noon)...)
			if says {
				out = x.e.Journal(x.at(d+noon), FunctionCheck, out)
			}
			out = append(out, x.run(d+oneOClock)...)
			if says {
				out = x.e.Journal(x.at(d+oneOClock), CheckEnded, out)
			}
		}
		out = append(out, x.run(36)...)
		s := x.spikes()
		odds := s.Odds > 0 || s.Sure+s.Maybe+s.Down > 0
		switch {
		case !says && (len(counted(out)) == 0 || !odds):
			t.Fatal("the hand is not seen without the checks: the test shows nothing")
		case says && len(out) != 0:
			t.Errorf("%s in spite of the checks: %s", out[0].Kind, out[0].Evidence)
		case says && odds:
			t.Errorf("odds %.1f, counts %.1f %.1f %.1f are left of the hand", s.Odds, s.Sure, s.Maybe, s.Down)
		}
	}
}

// What a hand does within the hour after a check is no occasion for the odds, what
// the contact does on the next day is.
func TestWhoClosesTheBoxAfterACheckIsNoOccasion(t *testing.T) {
	x := newChecked(t, opens(0.3, 30+oneOClock+0.02, 31.2))
	x.run(30 + noon)
	x.e.Check(x.at(30+noon), x.at(30+oneOClock))
	x.run(31)
	if o := x.spikes().Odds; o != 0 {
		t.Errorf("odds %.1f from what was done within half an hour after the check", o)
	}
	x.run(31.5)
	if o := x.spikes().Odds; !(o > 1) {
		t.Errorf("odds %.1f from what came a day later, want them to speak for a contact", o)
	}
}

// A contact that stood before stands after a neutral end, as it was; after WorkDone
// it is cleared and what is there is learnt.
func TestEndsOfAFunctionCheck(t *testing.T) {
	for _, tt := range []struct {
		end    Entry
		stands bool
		blocks uint32 // since the baseline began, a day later
	}{
		{CheckEnded, true, 100}, {WorkDone, false, 4},
	} {
		x := newChecked(t, growth(measure.B1, 20, 0.01), 30)
		x.run(30 + noon)
		before := x.e.s.Found[aboutContact]
		if before.Kind == 0 {
			t.Fatal("nothing stands before the check")
		}
		out := x.e.Journal(x.at(30+noon), FunctionCheck, nil)
		out = append(out, x.run(30+oneOClock)...)
		if len(out) != 0 || x.e.s.Found[aboutContact] != before {
			t.Errorf("the check changed what stood: %v", out)
		}
		out = x.e.Journal(x.at(30+oneOClock), tt.end, nil)
		if !x.e.CheckedUntil().IsZero() {
			t.Error("the check goes on after its end")
		}
		if stands := x.e.s.Found[aboutContact].Kind != 0; stands != tt.stands || (len(out) == 0) != tt.stands {
			t.Errorf("entry %d: stands %t, %d findings said; want %t", tt.end, stands, len(out), tt.stands)
		}
		if !tt.stands && !strings.Contains(out[0].Evidence, "work done, learning anew") {
			t.Errorf("cleared with %q", out[0].Evidence)
		}
		out = counted(x.run(31 + noon))
		if n := x.e.s.Copper.Blocks; n > tt.blocks == !tt.stands {
			t.Errorf("entry %d: %d blocks since the baseline began", tt.end, n)
		}
		if !tt.stands && len(out) != 0 {
			t.Errorf("learnt anew, and told again: %s", out[0].Evidence)
		}
	}
}

// An intermittent contact that was made good is not called again from what was
// counted before the work.
func TestCountsOfBeforeTheWorkAreForgotten(t *testing.T) {
	x := newChecked(t, opens(0.3, 20.3, 21.7, 23.2, 24.9, 26.1, 27.3, 28.9, 29.4))
	if out := counted(x.run(30 + noon)); len(out) == 0 {
		t.Fatal("the contact that opens is not found")
	}
	x.e.Journal(x.at(30+noon), WorkDone, nil)
	for _, f := range counted(x.run(45)) {
		t.Errorf("day %.1f, %s %s: %s", on(f.Time), f.State, f.Kind, f.Evidence)
	}
}

// A check that nobody ends ends by itself, at its time or within a day, and the
// engine hears again; in the middle of it a snapshot changes nothing.
func TestAFunctionCheckEndsByItself(t *testing.T) {
	for name, tt := range map[string]struct {
		begin func(x *checked)
		until float64
	}{
		"with a time":      {func(x *checked) { x.e.Check(x.at(25+noon), x.at(25+oneOClock)) }, 25 + oneOClock},
		"without":          {func(x *checked) { x.e.Journal(x.at(25+noon), FunctionCheck, nil) }, 26 + noon},
		"for far too long": {func(x *checked) { x.e.Check(x.at(25+noon), x.at(60)) }, 26 + noon},
	} {
		t.Run(name, func(t *testing.T) {
			x := newChecked(t, growth(measure.B1, 27, 0.01), 25)
			x.run(25 + noon)
			tt.begin(x)
			out := x.run(25 + noon + 0.02)
			r := newChecked(t, growth(measure.B1, 27, 0.01), 25)
			if err := r.e.Restore(x.e.Snapshot(nil)); err != nil {
				t.Fatal(err)
			}
			r.now = x.now
			if until := x.e.CheckedUntil(); tt.until > 25+noon && !until.Equal(x.at(tt.until)) {
				t.Errorf("on until %s, want %s", until, x.at(tt.until))
			}
			out, again := append(out, x.run(35)...), r.run(35)
			if !x.e.CheckedUntil().IsZero() {
				t.Fatal("the check was never ended")
			}
			if !bytes.Equal(x.e.Snapshot(nil), r.e.Snapshot(nil)) || len(out) != len(again) {
				t.Error("a restart in the middle of the check changed what came after it")
			}
			if out = counted(out); len(out) == 0 || on(out[0].Time) < 27 {
				t.Errorf("%d findings; want the contact that begins to grow after the check, and nothing before", len(out))
			}
		})
	}
}

// A state that says that a check is on, and not until when, makes no engine deaf.
func TestACheckWithoutAnEndEndsAtOnce(t *testing.T) {
	x := newChecked(t, nil)
	x.run(1)
	x.e.s.Work = true
	x.run(1 + 1.0/1440)
	if x.e.s.Work || x.e.s.Slot.N != 1 {
		t.Errorf("on %t, %d samples in the slot; want it ended and the sample in it", x.e.s.Work, x.e.s.Slot.N)
	}
}

// A check that ended while the loop was not read ends with the next sample: that one
// counts already.
func TestACheckThatRanOutInAnOutage(t *testing.T) {
	x := newChecked(t, nil)
	x.run(25 + noon)
	x.e.Check(x.at(25+noon), x.at(25+oneOClock))
	x.now += 5 * perHour
	x.run(25 + noon + 5.0/24 + 1.0/1440)
	if !x.e.CheckedUntil().IsZero() || x.e.s.Slot.N != 1 {
		t.Errorf("on until %s, %d samples in the slot; want it ended and the sample in it", x.e.CheckedUntil(), x.e.s.Slot.N)
	}
}

// The polls of work mode come as fast as they can; the engine still knows the
// interval of the loop afterwards.
func TestWorkModeLeavesTheInterval(t *testing.T) {
	x := newChecked(t, nil)
	x.run(25 + noon)
	x.e.Check(x.at(25+noon), x.at(25+oneOClock))
	fast := x.c
	for i := range 600 {
		s := fast.at(x.e.m.spec, x.now)
		s.At = x.at(25 + noon).Add(time.Duration(i) * time.Second)
		x.e.Step(&s, nil, nil)
	}
	if s := x.e.s.Step; s != 60 {
		t.Errorf("interval %g s after ten minutes of polls a second apart, want 60", s)
	}
}

// An end without a check is no event: nothing of the running block is lost.
func TestAnEndWithoutACheckChangesNothing(t *testing.T) {
	x := newChecked(t, nil)
	x.run(25 + noon)
	before := x.e.s
	x.e.Journal(x.at(26), CheckEnded, nil)
	if x.e.s != before {
		t.Error("the end of a check that was not on changed the state")
	}
}

// An open circuit that stood goes on standing through a check in which the hand
// closes it for a while, and is closed an hour after the check when it stays so.
func TestWhatWasOpenStaysOpenInACheck(t *testing.T) {
	x := newChecked(t, nil)
	open := func(s *measure.Sample) {
		s.Leads[measure.B1], s.Sensor, s.Reading = quantity.Ohm(nan), quantity.Ohm(nan), quantity.DegC(nan)
	}
	x.run(25 + noon - 0.1)
	var out []finding.Finding
	for ; x.now < int((25+noon)*24*perHour); x.now++ {
		s := x.c.at(x.e.m.spec, x.now)
		open(&s)
		out = x.e.Step(&s, nil, out)
	}
	if len(out) != 1 || out[0].Kind != finding.LeadOpen {
		t.Fatalf("%v; want an open lead", out)
	}
	x.e.Check(x.at(25+noon), x.at(25+noon+0.5))
	if out = x.run(25 + noon + 0.5); len(out) != 0 {
		t.Errorf("%s %s in a check of twelve hours", out[0].Kind, out[0].State)
	}
	if out = x.run(25 + noon + 0.5 + 0.5/24); len(out) != 0 {
		t.Errorf("%s %s half an hour after the check", out[0].Kind, out[0].State)
	}
	if out = x.run(25 + noon + 0.5 + 1.5/24); len(out) != 1 || out[0].State != finding.Cleared {
		t.Errorf("%v; want it cleared in the second hour after the check", out)
	}
}

// What was begun before the check or in it is not finished after it, but for the block,
// which only work ends.
func TestACheckDropsWhatWasBegun(t *testing.T) {
	for _, entry := range []Entry{FunctionCheck, CheckEnded, WorkDone, BaselineAccepted} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireLoop, wiring.PairsOnly))
		c := newCable(4)
		c.feed(e, 0, 20*perDay+20)
		s := &e.s
		s.Work = entry == CheckEnded
		s.Slot.N, s.Open.N, s.Heat.Mask, s.Ch[0].Spike.Run, s.Ch[0].DiffN = 3, 2, 5, 1, 9
		if s.Block.N == 0 || s.Ch[ofSensor].UN == 0 || !s.Ch[0].PrevOK || !s.Sensor.Known {
			t.Fatal("nothing has begun: the test shows nothing")
		}
		e.Journal(testStart.AddDate(0, 0, 20).Add(4*time.Hour), entry, nil)
		if anew := entry == WorkDone || entry == BaselineAccepted; (s.Block.N == 0) != anew || (s.Heat.Mask == 0) != anew || (s.Ch[0].DiffN == 0) != anew || s.Slot.N != 0 {
			t.Errorf("entry %d: slot %d, block %d, warmed %b, differences %d", entry, s.Slot.N, s.Block.N, s.Heat.Mask, s.Ch[0].DiffN)
		}
		if s.Open.N != 0 || s.Ch[0].Spike.Run != 0 || s.Ch[0].PrevOK || s.Sensor.Known || s.Ch[ofSensor].UN != 0 {
			t.Errorf("entry %d: open %d, excursion %d, calm value %t, sensor value %t, polls in a row %d",
				entry, s.Open.N, s.Ch[0].Spike.Run, s.Ch[0].PrevOK, s.Sensor.Known, s.Ch[ofSensor].UN)
		}
	}
}

// A block that ends in a check is not judged: nothing is found while somebody works.
func TestABlockThatEndsInACheckIsNotJudged(t *testing.T) {
	for _, says := range []bool{true, false} {
		x := newChecked(t, nil)
		x.run(25 + noon - 0.01)
		n := x.e.s.Copper.Blocks
		if says {
			x.e.Check(x.at(25+noon-0.01), x.at(25+noon+0.01))
		}
		x.run(25 + noon + 0.005)
		if judged := x.e.s.Copper.Blocks != n; judged == says {
			t.Errorf("judged %t with a check %t", judged, says)
		}
	}
}

// In a check of five minutes, in which a poll is as good as none, somebody works: all
// leads may have become another cable, and a lead that fell is no storm of bad values.
func TestACheckIsAGap(t *testing.T) {
	const five = 5.0 / 1440
	for name, longer := range map[string]float64{"another cable": 0.33, "as it was": 0} {
		x := newChecked(t, func(d float64, v *[measure.LeadCount]float64) {
			if d >= 25+noon+five/2 {
				for k := range v {
					v[k] *= 1 + longer
				}
			}
		})
		x.run(25 + noon)
		x.e.Check(x.at(25+noon), x.at(25+noon+five))
		x.run(25 + noon + 4*five)
		if x.e.Recabling() != (longer > 0) {
			t.Errorf("%s: recabling %t", name, x.e.Recabling())
		}
	}
	x := newChecked(t, func(d float64, v *[measure.LeadCount]float64) {
		if d >= 25+noon+five/2 {
			v[measure.B2] -= 0.03
		}
	})
	x.run(25 + noon)
	storm := x.e.s.Sensor.Storm
	x.e.Check(x.at(25+noon), x.at(25+noon+five))
	x.run(25 + noon + 2*five)
	if s := x.e.s.Sensor.Storm; s != storm {
		t.Error("a lead that was retightened in the check passes for a bad value")
	}
}

// Whatever a hand does to the leads in a function check of up to an hour, nothing is
// said of a loop that is afterwards as it was, in the check and in the month after it.
func TestAFunctionCheckRaisesNothing(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()).Draw(t, "way")
		c := newCable(rapid.Uint64().Draw(t, "seed"))
		before := rapid.IntRange(0, 40*perDay).Draw(t, "samples before")
		seconds := rapid.IntRange(1, 3600).Draw(t, "seconds of the check")
		e := mustEngine(tb, testSpec(tb, "TT-1", w.method, w.reports))
		out := c.feed(e, 0, before)
		from := testStart.Add(time.Duration(before) * 10 * time.Minute)
		e.Check(from, from.Add(time.Duration(seconds)*time.Second))
		moved := -1.0
		for s := 1; s < seconds; s += rapid.IntRange(1, 120).Draw(t, "poll after") {
			x := c.at(e.m.spec, before)
			x.At = from.Add(time.Duration(s) * time.Second)
			if moved < 0 || s%7 == 0 { // it rests for some polls
				moved = rapid.Float64Range(0, 250).Draw(t, "contact")
			}
			k := rapid.IntRange(0, 3).Draw(t, "lead")
			x.Leads[k] += quantity.Ohm(moved)
			x.LoopA += quantity.Ohm(moved)
			x.Sensor += quantity.Ohm(moved)
			x.Reading = e.m.spec.Sensor.Inverse(x.Sensor, 0)
			if moved > 200 {
				x.Leads[k], x.LoopA, x.Sensor, x.Reading = quantity.Ohm(nan), quantity.Ohm(nan), quantity.Ohm(nan), quantity.DegC(nan)
			}
			out = e.Step(&x, nil, out)
		}
		after := before + 1 + seconds/600
		out = append(out, c.feed(e, after, after+30*perDay)...)
		if len(out) > 0 {
			t.Fatalf("a check of %d s: %v", seconds, printed(out))
		}
	})
}
