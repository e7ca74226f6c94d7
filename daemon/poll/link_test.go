package poll

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// TestUnreachableLink: slots pass in time and say why; attempts come at random
// between 1 s and 60 s.
func TestUnreachableLink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", numbered)
		s.loop(1, 0, time.Second, one())
		s.link("mcc2", numbered)
		sound := s.loop(1, 0, time.Second, one())
		s.setDown("mcc1", true)
		p := s.run(20 * time.Minute)
		rs := s.readings(0)
		if len(rs) != 1200 || rs[5].Quality != measure.Comms || !strings.Contains(rs[5].Problem, "connection refused") {
			t.Errorf("%d readings, %v %q; want one a slot that says why", len(rs), rs[5].Quality, rs[5].Problem)
		}
		dials := s.dialled("mcc1")
		least, most := time.Hour, time.Duration(0)
		for i := 1; i < len(dials); i++ {
			d := dials[i].Sub(dials[i-1])
			least, most = min(least, d), max(most, d)
		}
		if least < time.Second || most > 61*time.Second || len(dials) < 20 || len(dials) > 200 {
			t.Errorf("%d attempts, %v to %v apart; want 1 s to 60 s", len(dials), least, most)
		}
		if n := len(s.readings(sound)); n != 1200 {
			t.Errorf("the other link: %d readings", n)
		}
		if st := p.Stats()[0]; st.Dials != uint64(len(dials)) || st.DialErrors != st.Dials || st.Up {
			t.Errorf("%d dials, %d errors counted, up %v", st.Dials, st.DialErrors, st.Up)
		}
	})
}

// TestIdleConnectionClosed: gateways drop clients that are idle between polls.
// The slot that meets the closed connection is polled on a new one.
func TestIdleConnectionClosed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		p := s.link("mcc1", numbered)
		s.loop(1, 0, time.Second, one())
		s.during(func(*Poller) {
			pass(15300 * time.Millisecond)
			for range 10 {
				pass(30 * time.Second)
				p.HangUp()
			}
		})
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				t.Errorf("%v %s", r.Quality, r.Problem)
			}
		}
		if n := len(s.dialled("mcc1")); n < 8 {
			t.Errorf("%d connections, want one for each hang-up", n)
		}
	})
}

// TestAcceptAndClose: a gateway that is out of connections accepts and closes.
// That must not become a tight loop of dials.
func TestAcceptAndClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(wiretest.Request) ([]byte, bool) { return nil, true })
		s.loop(1, 0, time.Second, one())
		p := s.run(10 * time.Minute)
		if n := len(s.dialled("mcc1")); n > 120 {
			t.Errorf("%d connections in 10 minutes", n)
		}
		if st := p.Stats()[0]; st.Reopens[ReasonLost] == 0 || st.Good != 0 || st.Polls != 600 {
			t.Errorf("%+v", st)
		}
	})
}

// TestHalfOpen: a connection on which nothing comes back any more, though it
// never closes, is opened again, and its units are not held to be dead.
func TestHalfOpen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		p := s.link("mcc1", numbered)
		for u := range uint8(5) {
			s.loop(u+1, 0, 2*time.Second, one())
		}
		var cut, healed time.Time
		s.during(func(poller *Poller) {
			pass(time.Minute)
			p.Play(func(wiretest.Request) ([]byte, bool) { return nil, false })
			cut = time.Now()
			pass(10 * time.Minute)
			for _, u := range poller.Stats()[0].Units {
				if u.Breaker == 2 {
					t.Errorf("unit %d is held to be dead", u.Unit)
				}
			}
			p.Play(numbered)
			healed = time.Now()
			pass(3 * time.Minute)
		})
		dials := s.dialled("mcc1")
		if len(dials) < 2 || dials[1].Sub(cut) > 15*time.Second {
			t.Fatalf("opened again %d times, first after %v", len(dials)-1, dials[min(1, len(dials)-1)].Sub(cut))
		}
		var firsts []time.Time
		for i := range s.plan.Loops {
			var first time.Time
			for _, r := range s.readings(i) {
				if r.when.After(healed) && r.Quality == measure.Good {
					first = r.when
					break
				}
			}
			if first.IsZero() || first.Sub(healed) > 75*time.Second {
				t.Errorf("loop %d: good again %v after the line healed", i, first.Sub(healed))
			}
			firsts = append(firsts, first)
		}
		slices.SortFunc(firsts, time.Time.Compare)
		if d := firsts[len(firsts)-1].Sub(firsts[0]); d > 2*time.Second {
			t.Errorf("the units come back over %v, though the link was to blame", d)
		}
	})
}

// TestHalfOpenWithOneSlowLoop: a single loop polled once a minute must not take
// minutes to find that its connection is dead.
func TestHalfOpenWithOneSlowLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		var dead sync.Map // connections that are half open, by number
		p := s.link("mcc1", nil)
		p.Play(func(r wiretest.Request) ([]byte, bool) {
			if _, ok := dead.Load(p.Dials()); ok {
				return nil, false
			}
			return numbered(r)
		})
		s.loop(1, 0, time.Minute, one())
		s.during(func(*Poller) {
			pass(150 * time.Second)
			dead.Store(1, true)
			pass(5 * time.Minute)
		})
		bad := 0
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				bad++
			}
		}
		if bad > 1 {
			t.Errorf("%d readings lost to one half-open connection, want at most one", bad)
		}
	})
}

// TestSecondPath: when a gateway dies its units are reached through the other,
// within a few slots, and back.
func TestSecondPath(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		first := s.link("gw1", numbered, func(c *devices.LinkConfig) { c.Second = "tcp://gw2:502" })
		second := wiretest.NewPeer(true, numbered)
		s.peers["gw2"] = second
		for u := range uint8(4) {
			s.loop(u+1, 0, time.Second, one())
		}
		var died time.Time
		p := s.during(func(p *Poller) {
			pass(time.Minute)
			died = time.Now()
			s.setDown("gw1", true)
			first.HangUp()
			pass(time.Minute)
			if st := p.Stats()[0]; st.Path != 1 || !st.Up {
				t.Errorf("path %d, up %v after the first gateway died", st.Path, st.Up)
			}
			s.setDown("gw1", false)
			s.setDown("gw2", true)
			second.HangUp()
			pass(2 * time.Minute)
		})
		if st := p.Stats()[0]; st.Path != 0 {
			t.Errorf("path %d after the second gateway died", st.Path)
		}
		gap := time.Duration(0)
		var last time.Time
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				continue
			}
			if !last.IsZero() && r.when.After(died) {
				gap = max(gap, r.when.Sub(last))
			}
			last = r.when
		}
		if gap > 10*time.Second {
			t.Errorf("the longest gap in good readings is %v", gap)
		}
	})
}

// TestPoliteOnASharedLine: when answers take much longer than usual, a line that
// is not ours alone is polled less often, and as before when it is quick again.
func TestPoliteOnASharedLine(t *testing.T) {
	for _, sole := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			s := newSite(t)
			var delay atomic.Int64
			delay.Store(int64(10 * time.Millisecond))
			var l log
			s.link("mcc1", l.of(func(r wiretest.Request) ([]byte, bool) {
				pass(time.Duration(delay.Load()))
				return numbered(r)
			}), func(c *devices.LinkConfig) { c.SoleMaster = sole })
			for u := range uint8(5) {
				s.loop(u+1, 0, time.Second, one())
			}
			var calm, busy, after int
			s.during(func(p *Poller) {
				count := func(d time.Duration) int {
					n := l.count(anything)
					pass(d)
					return l.count(anything) - n
				}
				pass(time.Minute)
				calm = count(time.Minute)
				delay.Store(int64(90 * time.Millisecond))
				pass(time.Minute)
				busy = count(time.Minute)
				delay.Store(int64(10 * time.Millisecond))
				pass(2 * time.Minute)
				after = count(time.Minute)
			})
			if sole && busy < calm*9/10 || !sole && busy > calm/4 {
				t.Errorf("sole master %v: %d requests a minute while answers are slow, %d before", sole, busy, calm)
			}
			if after < calm*9/10 {
				t.Errorf("sole master %v: %d requests a minute afterwards, %d before", sole, after, calm)
			}
		})
	}
}

// TestDialRate: many links that are down at once connect no faster than the
// rate of the whole daemon.
func TestDialRate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		for i := range 200 {
			name := fmt.Sprint("mcc", i)
			s.link(name, numbered)
			s.loop(1, 0, 10*time.Second, one())
			s.setDown(name, true)
		}
		o := s.options()
		o.DialRate = 10
		s.duringWith(o, func(*Poller) { pass(time.Minute) })
		perSecond := map[int64]int{}
		for _, dials := range s.dials {
			for _, at := range dials {
				perSecond[at.Unix()]++
			}
		}
		for second, n := range perSecond {
			if n > 21 { // the rate, and the burst that was saved up
				t.Errorf("%d connects in second %d, want about 10", n, second)
			}
		}
	})
}

// TestLyingUnit: a unit that answers for another, or with the wrong length,
// costs its neighbours nothing and brings no value.
func TestLyingUnit(t *testing.T) {
	lies := map[string]func(r wiretest.Request) []byte{
		"and hangs up": nil,
		"as its neighbour": func(r wiretest.Request) []byte {
			return r.FrameOf(2, r.Txn, append([]byte{r.Fn, byte(2 * r.Count)}, make([]byte, 2*r.Count)...))
		},
		"another length": func(r wiretest.Request) []byte { return r.Frame([]byte{r.Fn, 2, 0, 0}) },
		"no frame":       func(wiretest.Request) []byte { return []byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12} },
	}
	for _, url := range []string{"tcp://mcc1:502", "rtuovertcp://mcc1:4001"} {
		for name, lie := range lies {
			t.Run(url[:3]+" "+name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := newSite(t)
					s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
						switch {
						case r.Unit != 1:
							return r.Registers(uint16(r.Unit)), false
						case lie == nil:
							return nil, true
						}
						return lie(r), false
					}, func(c *devices.LinkConfig) { c.URL = url })
					for u := range uint8(4) {
						s.loop(u+1, 0, time.Second, one())
					}
					s.run(5 * time.Minute)
					if n := len(s.dialled("mcc1")); n > 40 {
						t.Errorf("%d connections in 5 minutes because of one unit", n)
					}
					for i, lp := range s.plan.Loops {
						bad, why := 0, ""
						for _, r := range s.readings(i) {
							if r.Quality == measure.Good && r.Leads[measure.A1] != quantity.Ohm(lp.Unit)/1000 {
								t.Fatalf("unit %d: a1 = %v", lp.Unit, r.Leads[measure.A1])
							}
							if r.Quality != measure.Good {
								bad++
								why += r.when.Format(" 04:05.000 ") + r.Problem
							}
						}
						if all := len(s.readings(i)); lp.Unit == 1 && bad != all || lp.Unit != 1 && bad > all/50 {
							t.Errorf("unit %d: %d of %d readings bad:%s", lp.Unit, bad, all, why)
						}
					}
				})
			})
		}
	}
}
