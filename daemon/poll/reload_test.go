package poll

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
)

// TestReloadMissesNoPoll: links and loops that stay keep connection and slots,
// while a link is added, one changed, one removed, and loops move to other
// indices.
func TestReloadMissesNoPoll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("stays", numbered)
		s.loop(1, 0, time.Second, one())
		s.loop(2, 0, time.Second, one())
		s.link("changes", numbered)
		s.loop(1, 0, time.Second, one())
		s.link("goes", numbered)
		s.loop(1, 0, time.Second, one())
		s.peers["comes"] = wiretest.NewPeer(true, numbered)

		next := Plan{Links: []devices.LinkConfig{
			{Name: "comes", URL: "tcp://comes:502", Timeout: time.Second, SoleMaster: true},
			{Name: "changes", URL: "tcp://changes:502", Timeout: 2 * time.Second, SoleMaster: true},
			s.plan.Links[0],
		}}
		add := func(tag string, link int, unit uint8) {
			next.Loops = append(next.Loops, Loop{Tag: tag, Link: link, Unit: unit, Interval: time.Second, Profile: one()})
		}
		add("TT-900", 0, 1)
		add("TT-102", 1, 1)
		add("TT-901", 2, 7) // new on the link that stays
		add("TT-101", 2, 2) // was index 1
		add("TT-100", 2, 1) // was index 0
		after := newSite(t)
		s.during(func(p *Poller) {
			pass(10300 * time.Millisecond)
			if err := p.Reload(next, after); err != nil {
				t.Error(err)
			}
			pass(10 * time.Second)
		})
		if n := len(s.dialled("stays")); n != 1 {
			t.Errorf("the link that stays was dialled %d times", n)
		}
		if n := len(s.dialled("changes")); n != 2 {
			t.Errorf("the link that changes was dialled %d times, want 2", n)
		}
		for old, now := range map[int]int{0: 4, 1: 3} {
			rs := append(s.readings(old), after.readings(now)...)
			for k := 1; k < len(rs); k++ {
				if d := rs[k].At.Sub(rs[k-1].At); d != time.Second {
					t.Errorf("loop %d: slots %v apart at the reload", old, d)
				}
			}
			if len(after.readings(now)) != 10 {
				t.Errorf("loop %d: %d readings after the reload", now, len(after.readings(now)))
			}
		}
		for i := range next.Loops {
			if n := len(after.readings(i)); n < 9 {
				t.Errorf("new loop %d: %d readings", i, n)
			}
		}
		for _, rs := range s.got {
			for _, r := range rs {
				if r.Quality != measure.Good {
					t.Errorf("%v %s", r.Quality, r.Problem)
				}
			}
		}
	})
}

// TestReloadSwitchesSinksAtOnce: nothing reaches the old sink after Reload has
// returned.
func TestReloadSwitchesSinksAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		for u := range uint8(20) {
			s.loop(u+1, 0, 100*time.Millisecond, one())
		}
		s.during(func(p *Poller) {
			var sinks []*counting
			for range 50 {
				next := &counting{}
				pass(33 * time.Millisecond)
				if err := p.Reload(s.plan, next); err != nil {
					t.Fatal(err)
				}
				for _, old := range sinks {
					old.end()
				}
				sinks = append(sinks, next)
			}
			for _, c := range sinks {
				if c.tooLate > 0 {
					t.Errorf("%d readings to a sink that was replaced", c.tooLate)
				}
			}
		})
	})
}

type counting struct {
	mu      sync.Mutex
	n       int
	ended   bool
	tooLate int
}

func (c *counting) Take(int, *devices.Reading) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n++
	if c.ended {
		c.tooLate++
	}
}

func (c *counting) end() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ended = true
}

func TestBadReloadChangesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		s.loop(1, 0, time.Second, one())
		s.during(func(p *Poller) {
			pass(5500 * time.Millisecond)
			bad := s.plan
			bad.Loops = append([]Loop(nil), s.plan.Loops...)
			bad.Loops[0].Interval = -1
			if err := p.Reload(bad, newSite(t)); err == nil {
				t.Error("a plan with a negative interval was taken")
			}
			pass(5 * time.Second)
		})
		if n := len(s.readings(0)); n != 11 {
			t.Errorf("%d readings in 11 slots", n)
		}
	})
}

func TestPollerRunsOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		s.loop(1, 0, time.Second, one())
		p := s.run(3 * time.Second)
		if err := p.Run(t.Context()); err == nil {
			t.Error("ran twice")
		}
		if err := p.Reload(s.plan, s); err == nil {
			t.Error("reloaded after the end")
		}
		if err := p.Work(0, time.Minute); err == nil {
			t.Error("work mode after the end")
		}
	})
}

func TestWorkMode(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			pass(20 * time.Millisecond)
			return numbered(r)
		})
		s.loop(1, 0, 10*time.Second, one())
		s.loop(1, 2, 10*time.Second, one())
		beside := s.loop(2, 0, time.Second, one())
		var start time.Time
		p := s.during(func(p *Poller) {
			pass(20500 * time.Millisecond)
			start = time.Now()
			if err := p.Work(0, 2*time.Minute); err != nil {
				t.Fatal(err)
			}
			pass(100 * time.Second)
			if rate := p.WorkRate(0); rate < 1.5 || rate > 20 {
				t.Errorf("work mode reaches %.2f polls/s; 5 %% of a bus with 20 ms an answer give 2.5", rate)
			}
			if p.WorkRate(1) != 0 || p.WorkRate(beside) != 0 {
				t.Error("other loops are in work mode")
			}
			pass(time.Minute)
			if rate := p.WorkRate(0); rate != 0 {
				t.Errorf("work mode goes on after its time, %.2f polls/s", rate)
			}
		})
		during, after := 0, 0
		for _, r := range s.readings(0) {
			switch d := r.when.Sub(start); {
			case d > 0 && d < 2*time.Minute:
				during++
			case d > 2*time.Minute+time.Second:
				after++
			}
		}
		if during < 250 || after > 5 {
			t.Errorf("%d polls in two minutes of work, %d in the 40 s after", during, after)
		}
		if n := len(s.readings(1)); n != 18 {
			t.Errorf("the loop beside it in its unit: %d readings in 18 slots", n)
		}
		rs := s.readings(beside)
		for k := 1; k < len(rs); k++ {
			if d := rs[k].when.Sub(rs[k-1].when); (d - time.Second).Abs() > 100*time.Millisecond {
				t.Errorf("its neighbour waited %v", d)
			}
		}
		if share := p.Stats()[0].ProbeShare(time.Now()); share > 0.06 {
			t.Errorf("work mode took %.1f %% of the bus", 100*share)
		}
	})
}

// TestReloadWhileEnding: a reload that meets the end of the poller returns.
func TestReloadWhileEnding(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for i := range 20 {
			s := newSite(t)
			s.link("mcc1", numbered)
			s.loop(1, 0, 10*time.Millisecond, one())
			var wg sync.WaitGroup
			s.during(func(p *Poller) {
				pass(time.Duration(i) * time.Millisecond)
				wg.Go(func() {
					for range 50 {
						if err := p.Reload(s.plan, s); err != nil {
							return
						}
					}
				})
			})
			wg.Wait()
		}
	})
}
