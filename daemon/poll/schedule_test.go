package poll

import (
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
)

func TestEveryLoopInItsSlots(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		for u := range uint8(5) {
			s.loop(u+1, 0, 10*time.Second, one())
		}
		fast := s.loop(6, 0, time.Second, one())
		p := s.run(60 * time.Second)
		firsts := map[time.Time]bool{}
		for i := range s.plan.Loops {
			want, interval := 6, 10*time.Second
			if i == fast {
				want, interval = 60, time.Second
			}
			rs := s.readings(i)
			if len(rs) != want {
				t.Errorf("loop %d: %d readings in 60 s, want %d", i, len(rs), want)
			}
			for k, r := range rs {
				if k > 0 && r.At.Sub(rs[k-1].At) != interval {
					t.Errorf("loop %d: slots %v apart, want %v", i, r.At.Sub(rs[k-1].At), interval)
				}
				if r.Quality != measure.Good {
					t.Errorf("loop %d: %v %s", i, r.Quality, r.Problem)
				}
			}
			firsts[rs[0].At] = true
		}
		if len(firsts) != len(s.plan.Loops) {
			t.Errorf("%d first slots for %d loops; want them spread", len(firsts), len(s.plan.Loops))
		}
		if st := p.Stats()[0]; st.Missed != 0 || st.Polls != 90 || st.Good != 90 {
			t.Errorf("%d polls, %d good, %d missed; want 90, 90, 0", st.Polls, st.Good, st.Missed)
		}
	})
}

// TestPhasesAreEven: loops of one interval lie an equal time apart.
func TestPhasesAreEven(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		for u := range uint8(10) {
			s.loop(u+1, 0, 10*time.Second, one())
		}
		s.run(10 * time.Second)
		for i := range 10 {
			r := s.readings(i)
			if len(r) != 1 {
				t.Fatalf("loop %d: %d readings", i, len(r))
			}
			if off := r[0].At.Sub(s.readings(0)[0].At) % time.Second; off != 0 {
				t.Errorf("loop %d lies %v off the even grid of 1 s", i, off)
			}
		}
	})
}

// TestRestartFindsTheSameSlots: slots lie on a grid of the wall clock, so that
// points written before and after a restart are of one series.
func TestRestartFindsTheSameSlots(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first := newSite(t)
		first.link("mcc1", numbered)
		first.loop(1, 0, 10*time.Second, one())
		first.run(25 * time.Second)
		pass(3700 * time.Millisecond)
		again := newSite(t)
		again.link("mcc1", numbered)
		again.loop(1, 0, 10*time.Second, one())
		again.run(25 * time.Second)
		if d := again.readings(0)[0].At.Sub(first.readings(0)[0].At); d%(10*time.Second) != 0 {
			t.Errorf("slots after a restart are %v off", d%(10*time.Second))
		}
	})
}

// TestLateIsCountedNotMadeUp: an answer that takes 3.5 s costs the slots that
// pass meanwhile; afterwards one poll a second goes on, no burst.
func TestLateIsCountedNotMadeUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		var l log
		s.link("mcc1", l.of(func(r wiretest.Request) ([]byte, bool) {
			if r.N == 5 {
				pass(3500 * time.Millisecond)
			}
			return numbered(r)
		}), func(c *devices.LinkConfig) { c.Timeout = 5 * time.Second })
		s.loop(1, 0, time.Second, one())
		p := s.run(20 * time.Second)
		st := p.Stats()[0]
		if st.Polls+st.Missed != 20 || st.Missed != 2 {
			t.Errorf("%d polls, %d missed in 20 s; want 18 and 2", st.Polls, st.Missed)
		}
		for i := 7; i < len(l.at); i++ {
			if d := l.at[i].Sub(l.at[i-1]); d < 500*time.Millisecond {
				t.Errorf("requests %d and %d are %v apart: a burst", i-1, i, d)
			}
		}
		late := 0
		for _, r := range s.readings(0) {
			if r.Quality == measure.Late {
				late++
			}
		}
		if late != 1 {
			t.Errorf("%d readings are late, want the one that took 3.5 s", late)
		}
	})
}

// TestMostOverdueFirst: after a stall the loop that has waited longest is next.
func TestMostOverdueFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		var l log
		s.link("mcc1", l.of(func(r wiretest.Request) ([]byte, bool) {
			if r.Unit == 1 && r.N > 3 {
				pass(900 * time.Millisecond)
			}
			return numbered(r)
		}), func(c *devices.LinkConfig) { c.Timeout = 5 * time.Second })
		for u := range uint8(4) {
			s.loop(u+1, 0, time.Second, one())
		}
		s.run(30 * time.Second)
		n := len(s.readings(0))
		for i := range s.plan.Loops {
			if k := len(s.readings(i)); k < n-1 || k > n+1 {
				t.Errorf("loop %d: %d readings, loop 0 has %d: somebody starves", i, k, n)
			}
		}
	})
}

func TestSlotsAreSkippedNotShifted(t *testing.T) {
	start := time.Unix(1000, 0)
	j := &job{interval: time.Second, slot: start, at: start}
	tests := []struct {
		late   time.Duration
		passed uint64
		slot   time.Duration
	}{{0, 0, 0}, {999 * time.Millisecond, 0, 0}, {time.Second, 1, time.Second}, {3500 * time.Millisecond, 3, 3 * time.Second}}
	for _, tt := range tests {
		j.slot = start
		if n := j.skip(start.Add(tt.late)); n != tt.passed || j.slot.Sub(start) != tt.slot {
			t.Errorf("%v late: %d passed, slot +%v; want %d, +%v", tt.late, n, j.slot.Sub(start), tt.passed, tt.slot)
		}
	}
}

// TestClockStep: a step of the wall clock shifts what samples say, not when
// they are taken; slewing of less than half a second is left alone.
func TestClockStep(t *testing.T) {
	ref := time.Unix(1_000_000, 0)
	var c clock
	c.start(ref)
	tests := []struct {
		elapsed, wall time.Duration
		jumped        bool
		shift         time.Duration
	}{
		{10 * time.Second, 10 * time.Second, false, 0},
		{20 * time.Second, 20*time.Second + 300*time.Millisecond, false, 0},
		{30 * time.Second, time.Hour, true, time.Hour - 30*time.Second},
		{40 * time.Second, time.Hour + 10*time.Second, false, time.Hour - 30*time.Second},
		{50 * time.Second, 50 * time.Second, true, 0},
	}
	for _, tt := range tests {
		if got := c.compare(ref.Add(tt.wall), tt.elapsed); got != tt.jumped || c.shift != tt.shift {
			t.Errorf("after %v: jump %v, shift %v; want %v, %v", tt.elapsed, got, c.shift, tt.jumped, tt.shift)
		}
	}
	if w := c.wall(ref.Add(time.Minute)); !w.Equal(ref.Add(time.Minute)) {
		t.Errorf("slot says %v", w)
	}
}

// TestPauseAndCeiling: pause and ceiling of the link hold between any two
// requests.
func TestPauseAndCeiling(t *testing.T) {
	tests := []struct {
		name   string
		change func(c *devices.LinkConfig)
		least  time.Duration
	}{
		{"pause", func(c *devices.LinkConfig) { c.Pause = 40 * time.Millisecond }, 40 * time.Millisecond},
		{"ceiling", func(c *devices.LinkConfig) { c.MaxRequests = 4 }, 250 * time.Millisecond},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newSite(t)
				var l log
				s.link("mcc1", l.of(numbered), tt.change)
				for u := range uint8(8) {
					s.loop(u+1, 0, time.Second, one())
				}
				p := s.run(20 * time.Second)
				for i := 1; i < len(l.at); i++ {
					if d := l.at[i].Sub(l.at[i-1]); d < tt.least {
						t.Fatalf("requests %v apart, want at least %v", d, tt.least)
					}
				}
				st := p.Stats()[0]
				if st.Polls+st.Missed < 8*19 || tt.name == "ceiling" && st.Missed < 60 {
					t.Errorf("%d polls, %d missed: a slot is not accounted for", st.Polls, st.Missed)
				}
			})
		})
	}
}

func TestQuietWindow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := time.Now().Local()
		from := now.Hour()*60 + now.Minute() + 1
		s := newSite(t)
		var l log
		s.link("mcc1", l.of(numbered), func(c *devices.LinkConfig) { c.Quiet = []devices.QuietWindow{{From: from, To: from + 2}} })
		s.loop(1, 0, 10*time.Second, one())
		s.run(5 * time.Minute)
		for _, at := range l.at {
			if s.plan.Links[0].Quiet[0].Contains(at.Local()) {
				t.Errorf("a request at %v, in the quiet window", at)
			}
		}
		count := map[measure.Quality]int{}
		for _, r := range s.readings(0) {
			count[r.Quality]++
		}
		if count[measure.Stale] != 12 || count[measure.Good] != 18 {
			t.Errorf("%v; want 12 stale in the window of two minutes and 18 good", count)
		}
	})
}

func TestQuietWindowSpansMidnight(t *testing.T) {
	w := devices.QuietWindow{From: 23*60 + 30, To: 15}
	for clock, want := range map[string]bool{"23:29": false, "23:30": true, "00:14": true, "00:15": false, "12:00": false} {
		at, err := time.Parse("15:04", clock)
		if err != nil {
			t.Fatal(err)
		}
		if w.Contains(at) != want {
			t.Errorf("%s: %v, want %v", clock, !want, want)
		}
	}
}
