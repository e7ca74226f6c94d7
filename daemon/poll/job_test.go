package poll

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
)

func TestCoalesce(t *testing.T) {
	type at struct {
		unit uint8
		base uint16
	}
	two := one() // two registers
	block := func(count uint16) *devices.Profile {
		p := one()
		p.Blocks = []devices.Block{{Addr: 0, Count: count}}
		return p
	}
	few := one()
	few.MaxRead = 4
	tests := []struct {
		name    string
		profile *devices.Profile
		loops   []at
		want    []string // unit: first register+count, loops
	}{
		{"adjacent", two, []at{{1, 0}, {1, 2}, {1, 4}}, []string{"1: 0+6 [0 1 2]"}},
		{"order of the plan does not matter", two, []at{{1, 4}, {1, 0}, {1, 2}}, []string{"1: 0+6 [1 2 0]"}},
		{"same registers", two, []at{{1, 0}, {1, 0}}, []string{"1: 0+2 [0 1]"}},
		{"overlap", two, []at{{1, 0}, {1, 1}}, []string{"1: 0+3 [0 1]"}},
		{"undeclared gap", two, []at{{1, 0}, {1, 3}}, []string{"1: 0+2 [0]", "1: 3+2 [1]"}},
		{"declared gap that is cheap", block(10), []at{{1, 0}, {1, 10}, {1, 20}}, []string{"1: 0+22 [0 1 2]"}},
		{"declared gap that costs more than a request", block(60), []at{{1, 0}, {1, 60}}, []string{"1: 0+2 [0]", "1: 60+2 [1]"}},
		{"other unit", two, []at{{1, 0}, {2, 2}}, []string{"1: 0+2 [0]", "2: 2+2 [1]"}},
		{"max-read", few, []at{{1, 0}, {1, 2}, {1, 4}}, []string{"1: 0+4 [0 1]", "1: 4+2 [2]"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			plan := Plan{Links: []devices.LinkConfig{{Name: "mcc1", URL: "tcp://mcc1:502"}}}
			for i, l := range tt.loops {
				plan.Loops = append(plan.Loops, Loop{Tag: fmt.Sprint(i), Unit: l.unit, Base: l.base, Interval: time.Second, Profile: tt.profile})
			}
			c, err := compile(plan)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, j := range jobsOf(&c, 0, nil) {
				var loops []int
				for _, m := range j.members {
					loops = append(loops, m.loop)
				}
				got = append(got, fmt.Sprintf("%d: %d+%d %v", j.id, j.requests[0].Addr, j.requests[0].Count, loops))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestTooManyRegisters(t *testing.T) {
	plan := Plan{Links: []devices.LinkConfig{{Name: "mcc1", URL: "tcp://mcc1:502"}}}
	for i := range 100 {
		plan.Loops = append(plan.Loops, Loop{Tag: fmt.Sprint(i), Unit: 1, Base: uint16(2 * i), Interval: time.Second, Profile: one()})
	}
	c, err := compile(plan)
	if err != nil {
		t.Fatal(err)
	}
	covered := 0
	for _, j := range jobsOf(&c, 0, nil) {
		if j.requests[0].Count > devices.MaxRegisters || j.requests[0].Max > devices.MaxRegisters {
			t.Errorf("a request for %d, at most %d registers", j.requests[0].Count, j.requests[0].Max)
		}
		covered += len(j.members)
	}
	if covered != 100 {
		t.Errorf("%d loops in the jobs, want 100", covered)
	}
}

// TestValuesOfJointRequests: each loop gets its own registers.
func TestValuesOfJointRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		var l log
		s.link("mcc1", l.of(serve(func(_ uint8, addr uint16) uint16 { return addr })))
		for i := range uint16(5) {
			s.loop(1, 2*i, time.Second, one())
		}
		s.run(5 * time.Second)
		for i := range s.plan.Loops {
			for _, r := range s.readings(i) {
				if want := float64(2*i) / 1000; float64(r.Leads[measure.A1]) != want {
					t.Errorf("loop %d: a1 = %v, want %v", i, r.Leads[measure.A1], want)
				}
			}
		}
		if n := l.count(anything); n != 5 {
			t.Errorf("%d requests for 5 slots of 5 adjacent loops, want 5", n)
		}
	})
}

// TestRefusedTogether: a unit that refuses a joint read is asked loop by loop
// from then on, with no slot lost, and a reload does not forget it.
func TestRefusedTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		var l log
		s.link("mcc1", l.of(func(r wiretest.Request) ([]byte, bool) {
			if r.Count > 2 {
				return r.Exception(2), false
			}
			return numbered(r)
		}))
		for i := range uint16(3) {
			s.loop(1, 2*i, time.Second, one())
		}
		s.during(func(p *Poller) {
			pass(10500 * time.Millisecond)
			if err := p.Reload(s.plan, s); err != nil {
				t.Error(err)
			}
			pass(10 * time.Second)
			if st := p.Stats()[0]; st.Splits != 1 {
				t.Errorf("split %d times, want once", st.Splits)
			}
		})
		for i := range s.plan.Loops {
			rs := s.readings(i)
			for _, r := range rs {
				if r.Quality != measure.Good {
					t.Errorf("loop %d: %v %s", i, r.Quality, r.Problem)
				}
			}
			if len(rs) != 21 {
				t.Errorf("loop %d: %d readings in 21 slots", i, len(rs))
			}
		}
		if n := l.count(func(r wiretest.Request) bool { return r.Count > 2 }); n != 1 {
			t.Errorf("%d joint requests, want one", n)
		}
	})
}

// split2 is a profile whose registers need two requests.
func split2(cycle bool) *devices.Profile {
	p := one()
	p.Blocks = []devices.Block{{Addr: 0, Count: 4}, {Addr: 100, Count: 4}}
	p.Fields[1].Addr = 100
	if cycle {
		p.Fields = append(p.Fields, devices.Field{Quantity: devices.CycleCount, Addr: 101, Type: devices.Uint16})
	}
	return p
}

// TestSkewed: values of two requests are good only when the device did not
// renew them in between, as its cycle counter tells, or as the first block does
// that is read again.
func TestSkewed(t *testing.T) {
	tests := []struct {
		name  string
		cycle bool
		value func(n int, addr uint16) uint16
		want  measure.Quality
	}{
		{"still", false, func(int, uint16) uint16 { return 7 }, measure.Good},
		{"always moving", false, func(n int, _ uint16) uint16 { return uint16(n) }, measure.Skewed},
		{"values move, one cycle", true, func(n int, addr uint16) uint16 {
			if addr == 101 {
				return uint16(n / 12)
			}
			return uint16(n)
		}, measure.Good},
		{"a cycle at each request", true, func(n int, addr uint16) uint16 { return uint16(n) }, measure.Skewed},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newSite(t)
				s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
					return serve(func(_ uint8, addr uint16) uint16 { return tt.value(r.N, addr) })(r)
				})
				s.loop(1, 0, time.Second, split2(tt.cycle))
				s.run(10 * time.Second)
				count := 0
				for _, r := range s.readings(0) {
					if r.Quality == tt.want {
						count++
					}
				}
				if n := len(s.readings(0)); count < n-1 {
					t.Errorf("%d of %d readings are %v", count, n, tt.want)
				}
			})
		})
	}
}

func TestPlanMistakes(t *testing.T) {
	link := devices.LinkConfig{Name: "mcc1", URL: "tcp://mcc1:502"}
	loop := Loop{Tag: "TT-1", Unit: 1, Interval: time.Second, Profile: one()}
	for name, change := range map[string]func(p *Plan){
		"interval":   func(p *Plan) { p.Loops[0].Interval = 0 },
		"no profile": func(p *Plan) { p.Loops[0].Profile = nil },
		"link 3":     func(p *Plan) { p.Loops[0].Link = 3 },
		"past register": func(p *Plan) {
			p.Loops[0].Base = 65535
		},
		"two links": func(p *Plan) { p.Links = append(p.Links, link) },
		"scheme":    func(p *Plan) { p.Links[0].URL = "udp://mcc1:502" },
	} {
		p := Plan{Links: []devices.LinkConfig{link}, Loops: []Loop{loop}}
		if _, err := New(p, nil, Options{}); err != nil {
			t.Fatal(err)
		}
		change(&p)
		if _, err := New(p, nil, Options{}); err == nil {
			t.Errorf("%s: the plan was taken", name)
		}
	}
}
