package poll

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
)

// TestDeadUnitsCostTheirNeighboursNothing: a fifth of the units never answer.
// The others keep every slot within 10 % of the interval, and dead units take
// no more than 5 % of the bus.
func TestDeadUnitsCostTheirNeighboursNothing(t *testing.T) {
	for _, url := range []string{"tcp://mcc1:502", "rtuovertcp://mcc1:4001"} {
		t.Run(url[:3], func(t *testing.T) { deadUnits(t, url) })
	}
}

func deadUnits(t *testing.T, url string) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		dead := func(u uint8) bool { return u%5 == 0 }
		var l log
		s.link("mcc1", l.of(silentUnits(numbered, dead)), func(c *devices.LinkConfig) { c.URL = url })
		for u := range uint8(50) {
			s.loop(u+1, 0, time.Second, one())
		}
		const minutes = 10
		p := s.run(minutes * time.Minute)
		late, n := 0, 0
		for i, lp := range s.plan.Loops {
			rs := s.readings(i)
			if len(rs) < minutes*60-10 { // while it is not known yet who is there, a second for each dead unit
				t.Errorf("loop %d: %d readings in %d s", i, len(rs), minutes*60)
			}
			if dead(lp.Unit) {
				if last := rs[len(rs)-1]; last.Quality != measure.Comms || !strings.Contains(last.Problem, "no answer") {
					t.Errorf("dead unit %d: %v %q", lp.Unit, last.Quality, last.Problem)
				}
				continue
			}
			for k := 1; k < len(rs); k++ {
				n++
				if d := rs[k].when.Sub(rs[k-1].when) - time.Second; d.Abs() > 100*time.Millisecond {
					late++
				}
			}
		}
		if late*100 > n {
			t.Errorf("%d of %d intervals of sound units are more than 10 %% off; want at most 1 %%", late, n)
		}
		st := p.Stats()[0]
		if share := st.ProbeShare(time.Now()); share > 0.055 {
			t.Errorf("dead units took %.1f %% of the bus", 100*share)
		}
		if st.Reopens[ReasonSilent] > 0 {
			t.Errorf("the link was opened again %d times; it was not to blame", st.Reopens[ReasonSilent])
		}
		t.Logf("%d of %d intervals off by more than 10 %%, probe share %.2f %%, %d probes", late, n, 100*st.ProbeShare(time.Now()), l.count(func(r wiretest.Request) bool { return dead(r.Unit) }))
	})
}

// TestGatewayThatWaits: a serial gateway stops its whole line while it waits
// for a dead unit. That time counts against the budget of dead units, and the
// units behind the one that is waited for do not look dead.
func TestGatewayThatWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			if r.Unit == 9 {
				pass(800 * time.Millisecond)
				return r.Exception(11), false
			}
			pass(5 * time.Millisecond)
			return numbered(r)
		})
		for u := range uint8(10) {
			s.loop(u+1, 0, time.Second, one())
		}
		p := s.run(5 * time.Minute)
		for i, lp := range s.plan.Loops {
			bad, why := 0, ""
			for _, r := range s.readings(i) {
				if !r.Quality.Usable() {
					bad++
					why = r.when.Format(time.TimeOnly) + " " + r.Problem
				}
			}
			if lp.Unit != 9 && bad > 0 {
				t.Errorf("unit %d: %d bad readings beside a dead unit, the last: %s", lp.Unit, bad, why)
			}
		}
		st := p.Stats()[0]
		if share := st.ProbeShare(time.Now()); share > 0.06 {
			t.Errorf("the dead unit held the line for %.1f %% of the time", 100*share)
		}
		if st.Reopens[ReasonSilent] > 0 {
			t.Error("the link was opened again; it was not to blame")
		}
	})
}

func TestUnitComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		s.loop(1, 0, time.Second, one())
		back := s.loop(2, 0, time.Second, one())
		var here atomic.Bool
		s.peers["mcc1"].Play(silentUnits(numbered, func(u uint8) bool { return u == 2 && !here.Load() }))
		var when time.Time
		s.during(func(*Poller) {
			pass(5 * time.Minute)
			here.Store(true)
			when = time.Now()
			pass(2 * time.Minute)
		})
		for _, r := range s.readings(back) {
			if r.when.After(when) && r.Quality == measure.Good {
				if d := r.when.Sub(when); d > 100*time.Second {
					t.Errorf("good again after %v", d)
				}
				return
			}
		}
		t.Error("the unit never came back")
	})
}

// TestSlowUnitGetsItsTime: a unit that answers after its neighbours' time but
// within the link's timeout is not taken for dead.
func TestSlowUnitGetsItsTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			if r.Unit == 3 {
				pass(600 * time.Millisecond)
			}
			return numbered(r)
		})
		for u := range uint8(3) {
			s.loop(u+1, 0, 5*time.Second, one())
		}
		s.run(5 * time.Minute)
		rs := s.readings(2)
		good := 0
		for _, r := range rs[len(rs)/2:] {
			if r.Quality == measure.Good {
				good++
			}
		}
		if want := len(rs) - len(rs)/2; good != want {
			t.Errorf("%d of the last %d readings are good", good, want)
		}
	})
}

func TestExceptionsByMeaning(t *testing.T) {
	tests := []struct {
		code    byte
		quality measure.Quality
		often   bool // asked in every slot
		problem string
	}{
		{1, measure.Configuration, false, "exception 01"},
		{2, measure.Configuration, false, "exception 02"},
		{3, measure.Configuration, false, "exception 03"},
		{4, measure.Device, true, "exception 04"},
		{6, measure.Comms, true, "exception 06"},
		{8, measure.Device, true, "exception 08"},
		{10, measure.Comms, false, "exception 0A"},
		{11, measure.Comms, false, "exception 0B"},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("code=%02X", tt.code), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newSite(t)
				var l log
				s.link("mcc1", l.of(func(r wiretest.Request) ([]byte, bool) {
					if r.Unit == 1 {
						return r.Exception(tt.code), false
					}
					return numbered(r)
				}))
				s.loop(1, 0, time.Second, one())
				beside := s.loop(2, 0, time.Second, one())
				p := s.run(60 * time.Second)
				for _, r := range s.readings(0) {
					if r.Quality != tt.quality || !strings.Contains(r.Problem, tt.problem) {
						t.Fatalf("%v %q; want %v, %s", r.Quality, r.Problem, tt.quality, tt.problem)
					}
				}
				asked := l.count(toUnit(1))
				if tt.often != (asked >= 60) || !tt.often && asked > 15 {
					t.Errorf("asked %d times in 60 slots", asked)
				}
				for _, r := range s.readings(beside) {
					if r.Quality != measure.Good {
						t.Errorf("its neighbour: %v %s", r.Quality, r.Problem)
					}
				}
				if st := p.Stats()[0]; st.Reopens != [reasons]uint64{} {
					t.Errorf("reopened %v: an exception is the unit's, not the link's", st.Reopens)
				}
			})
		})
	}
}

// TestBusyIsAskedAgain in the same slot.
func TestBusyIsAskedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			if r.N%3 < 2 {
				return r.Exception(6), false
			}
			return numbered(r)
		})
		s.loop(1, 0, 10*time.Second, one())
		s.run(60 * time.Second)
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				t.Errorf("%v %s; want good at the third attempt", r.Quality, r.Problem)
			}
		}
		if n := len(s.readings(0)); n != 6 {
			t.Errorf("%d readings in 6 slots", n)
		}
	})
}

// TestGarbledIsAskedAgain: one disturbed frame of a sound unit costs no slot.
func TestGarbledIsAskedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			b := r.Registers(uint16(r.N))
			if r.N%5 == 4 {
				b[4] ^= 1
			}
			return b, false
		}, func(c *devices.LinkConfig) { c.URL = "rtuovertcp://mcc1:4001" })
		s.loop(1, 0, 10*time.Second, one())
		p := s.run(200 * time.Second)
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				t.Errorf("%v %s", r.Quality, r.Problem)
			}
		}
		if st := p.Stats()[0]; st.Requests[devices.FaultGarbled] < 4 {
			t.Errorf("%d garbled answers counted", st.Requests[devices.FaultGarbled])
		}
	})
}

func TestBudget(t *testing.T) {
	var b budget
	at := time.Unix(0, 0)
	spent, probes := time.Duration(0), 0
	for range 3600 {
		at = at.Add(time.Second)
		if b.may(at) {
			b.spend(time.Second)
			spent += time.Second
			probes++
		}
	}
	if share := spent.Seconds() / 3600; share > probeShare+0.001 || share < probeShare-0.005 {
		t.Errorf("%.2f %% of the time spent in %d probes, want 5 %%", 100*share, probes)
	}
	if d := b.wait(); d > time.Duration(float64(time.Second)/probeShare) {
		t.Errorf("to wait %v", d)
	}
}

func TestBreaker(t *testing.T) {
	at := time.Unix(0, 0)
	b := breaker{known: true}
	for n := 1; n < failsToOpen; n++ {
		b.fail(at)
		if b.open() || !b.allow(at) {
			t.Fatalf("open after %d failures", n)
		}
	}
	b.fail(at)
	if !b.open() || b.allow(at) {
		t.Fatal("not open after three failures")
	}
	var longest time.Duration
	for range 20 {
		at = b.next
		if !b.allow(at) {
			t.Fatal("no probe at its time")
		}
		b.fail(at)
		if d := b.next.Sub(at); d < b.wait/2 || d > 3*b.wait/2 {
			t.Fatalf("next probe in %v with a wait of %v", d, b.wait)
		}
		longest = max(longest, b.wait)
	}
	if longest != longestWait {
		t.Errorf("waits grow to %v, want %v", longest, longestWait)
	}
	b.good()
	if b.open() || b.fails != 0 || !b.known {
		t.Error("an answer does not close it")
	}
	var unknown breaker
	if unknown.fail(at); !unknown.open() {
		t.Error("a unit that has never answered opens at once")
	}
}
