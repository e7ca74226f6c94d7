package drift

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// voltage either.
func TestALargeRetighteningBesideNeighbours(t *testing.T) {
	for _, fell := range []measure.Lead{measure.B1, measure.B2} {
		for seed := range uint64(4) {
			spec := testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly)
			spec.LimitHigh, spec.LimitLow = 0.1, -0.1
			e := mustEngine(t, spec)
			c := newCable(seed)
			c.lead[fell] += 0.065
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				if d > 60 {
					v[fell] -= 0.063
				}
			}
			all := besideAPair(e, &c, besides(seed), 0, 60*perDay)
			e.s.Copper.F *= 0.9 // the factor follows the one that falls, as after a gap
			all = append(all, besideAPair(e, &c, besides(seed), 60*perDay+6, 100*perDay)...)
			last := finding.Finding{}
			for _, f := range all {
				if f.Kind == finding.ThermalEMF {
					t.Errorf("%v, seed %d, day %.1f: %s", fell, seed, on(f.Time), f.Evidence)
				}
				if f.Kind != finding.LeadRestored {
					last = f
				}
			}
			if last.Kind != finding.LeadStep || last.State != finding.Cleared || on(last.Time) > 66 {
				t.Errorf("%v, seed %d: %s %v stands: %s", fell, seed, last.Kind, last.State, last.Evidence)
			}
			if !slices.ContainsFunc(all, func(f finding.Finding) bool {
				return f.Kind == finding.LeadRestored && f.Leads == finding.LeadsOf(fell)
			}) {
				t.Errorf("%v, seed %d: nobody says that it was retightened", fell, seed)
			}
		}
	}
}

// Turned round, the two are as far apart as before, in every block that was known.
func TestTurnedRoundTheDistanceStays(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(rapid.Uint64().Draw(rt, "seed"))
		c.fault = growth(measure.B1, 10, rapid.Float64Range(-0.004, 0.004).Draw(rt, "Ω a day"))
		besideAPair(e, &c, func(int) *Neighbour { return nil }, 0, 25*perDay)
		lost := rapid.IntRange(0, recent).Draw(rt, "block that is not known")
		if lost < recent {
			e.s.Ch[0].U[lost] = float32(nan)
		}
		apart := func() (d [recent]float64) {
			for i := range d {
				d[i] = float64(e.s.Ch[0].U[i])/e.s.Ch[0].Base - float64(e.s.Ch[1].U[i])/e.s.Ch[1].Base
			}
			return d
		}
		for sound := range 2 {
			before := apart()
			e.turnRound(sound)
			for i, d := range apart() {
				if known := i != lost; known && math.Abs(d-before[i]) > 1e-5 || known != (d == d) {
					rt.Errorf("%d sound, block %d: the leads are %g apart, %g before", sound, i, d, before[i])
				}
				if u := e.s.Ch[sound].U[i]; u != 0 && u == u {
					rt.Errorf("the sound lead stands at %g in block %d", u, i)
				}
				if f := e.s.Copper.Ring[i]; f != f {
					rt.Errorf("block %d has no copper factor", i)
				}
			}
		}
		if f := e.s.Copper.F; !(f > 0.8 && f < 1.2) {
			rt.Errorf("copper factor %g", f)
		}
	})
}

// either had half of it, it is added up.
func TestMirror(t *testing.T) {
	a := chState{
		Couple: coupleState{Even: 1, Slow: 2, UU: 4, UT: 4, UB: 5}, Swing: swing{UU: 9, FF: 2, UF: 3, Day: [4]float32{1, -2, 3, 4}},
		Jump: 0.02, JumpAt: 7, Lag: 2, Rise: 5, Above: 4, Over: 3, Swings: 6, Turn: 0.5, Turns: 2, Down: true, Peak: 0.3, Track: 0.2,
		Flagged: true, Risen: true, PrevOK: true, Spike: spikeState{Run: 1},
	}
	b := chState{
		Couple: coupleState{Even: -1, Slow: -1, UU: 1, UT: -1, UB: -2}, Swing: swing{UU: 1, FF: 3, UF: -1, Day: [4]float32{-1, 0, 0, 0}},
		Jump: -0.01, JumpAt: 1, Rise: 2, Turn: -0.25, Risen: true, PrevOK: true, Spike: spikeState{Run: 2}, UN: 3,
	}
	b.U[recent-3], b.U[recent-2], b.U[recent-1] = -0.25, -0.25, -0.25
	x, y := a, b
	x.mirror(&y)
	want := b
	want.Couple = coupleState{Even: -2, Slow: -3, UU: 9, UT: -5, UB: -7}
	want.Swing = swing{UU: 16, FF: 3, UF: -4, Day: [4]float32{-2, 2, -3, -4}}
	want.Jump, want.JumpAt, want.Lag, want.Rise = -0.03, 7, 2, 5
	want.Above, want.Over, want.Swings, want.Turn, want.Turns, want.Down = 4, 3, 6, -0.75, 2, false
	want.Flagged, want.Risen, want.PrevOK, want.Spike.Run, want.Track = true, false, false, 0, -0.25
	all := cmp.AllowUnexported(chState{}, coupleState{}, swing{}, fit{}, spikeState{})
	if d := cmp.Diff(want, y, all); d != "" {
		t.Errorf("the one that fell:\n%s", d)
	}
	sound := chState{Swing: swing{FF: 2}, JumpAt: 7, Lag: 2, Rise: 5, Down: true}
	if d := cmp.Diff(sound, x, all); d != "" {
		t.Errorf("the sound one:\n%s", d)
	}
}

// lead, and so is the newest; a finding that named it is about the other one.
func TestTurnedRound(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	c.fault = growth(measure.B1, 20, -0.002)
	besideAPair(e, &c, func(int) *Neighbour { return nil }, 0, 40*perDay)
	r := &e.s.Found[aboutContact]
	if r.Channels != 1<<1 || r.Leads != finding.LeadsOf(measure.B2) {
		t.Fatalf("without neighbours %v stands on channels %b, want b2", r.Leads.Names(), r.Channels)
	}
	var want [recent]float64
	for i := range want {
		f := float64(e.s.Copper.Ring[i])
		want[i] = f + float64(e.s.Ch[1].U[i])/e.s.Ch[1].Base
	}
	f := e.s.Copper.F
	p := picture{raw: [channels]float64{0, 0.03}, level: [channels]float64{0, 0.03}, moved: 0}
	pair := e.s.Pair
	e.s.Still.At = 0.03
	e.accept(firstFell, &p)
	for i, f := range e.s.Copper.Ring {
		if math.Abs(float64(f)-want[i]) > 1e-6 {
			t.Errorf("block %d: copper factor %g, of b2 alone %g", i, f, want[i])
		}
	}
	if e.s.Copper.Moved != firstFell || r.Channels != 1<<0 || e.s.Other != atOnce {
		t.Errorf("moved %d, finding on channels %b, its name waits since %d", e.s.Copper.Moved, r.Channels, e.s.Other)
	}
	if up := e.s.Copper.F - f; math.Abs(up-0.04/0.507) > 0.01 || math.Abs(float64(e.s.Pair.Box-pair.Box)*copper.Alpha20-up) > 1e-3 || math.Abs(float64(e.s.Pair.SlowB-pair.SlowB)*copper.Alpha20-up) > 1e-3 {
		t.Errorf("the copper factor went up by %g and the box by %g and %g K; want 0.079, and 20 K", up, e.s.Pair.Box-pair.Box, e.s.Pair.SlowB-pair.SlowB)
	}
	if e.s.Still.At != -0.03 {
		t.Errorf("what stands still is compared with %g, want −0.03", e.s.Still.At)
	}
	if l := p.level[0]; !(l < -0.02) || p.level[1] != 0 {
		t.Errorf("levels %g and %g, want a fall of b1", l, p.level[1])
	}
}

// What is learnt of a lead is learnt of the middle: it stands where it is.
func TestWhatIsAbsorbedIsAgreed(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	besideAPair(e, &c, besides(3), 0, 20*perDay)
	b := &e.s.Ch[middleOf]
	for i := range b.U {
		b.U[i] += 0.01
	}
	at, slope := b.Fit.line(witnessSteep)
	u, m := b.U, b.level(8)
	e.absorb(1, 0.02)
	if x, s := b.Fit.line(witnessSteep); math.Abs(x-at-m) > 1e-6 || math.Abs(s-slope) > 1e-5 {
		t.Errorf("line %g and %g, before %g and %g: want %g more", x, s, at, slope, m)
	}
	for i := range u {
		if math.Abs(float64(u[i]-b.U[i])-m) > 1e-7 {
			t.Errorf("block %d: %g, before %g: want %g less", i, b.U[i], u[i], m)
		}
	}
}

// a gate at most.
func TestOfTold(t *testing.T) {
	for _, tt := range [][3]float64{{1, 1.01, 1.005}, {1, 0.99, 0.995}, {1, 1.5, 1.01}, {1, 0.5, 0.99}} {
		if got := ofTold(tt[0], tt[1], 0.02); math.Abs(got-tt[2]) > 1e-12 {
			t.Errorf("%g beside %g: %g, want %g", tt[0], tt[1], got, tt[2])
		}
	}
}

// copper.
func TestNeighboursThatComeLate(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(1)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { v[measure.B1] -= 0.0015 * min(max(0, d-40), 20) }
	plain := besides(1)
	out := counted(besideAPair(e, &c, func(i int) *Neighbour {
		if i > 41*perDay && i < 85*perDay {
			i = 41 * perDay
		}
		return plain(i)
	}, 0, 110*perDay))
	var first, last string
	for _, f := range out {
		is := string(f.Kind) + " " + strings.Join(f.Leads.Names(), " ")
		if first == "" {
			first = is
		}
		if is == last || last == "" {
			last = is
			continue
		}
		if on(f.Time) < 85 || on(f.Time) > 88 {
			t.Errorf("day %.1f: %s, before %s", on(f.Time), is, last)
		}
		last = is
	}
	if first != "lead-drift b2" || last != "thermal-emf b1" {
		t.Errorf("first %s, in the end %s; want drift of b2, which is all that two leads can say, then the voltage of b1", first, last)
	}
}

// the neighbours say fell is little enough to be learnt.
func TestHealedLeast(t *testing.T) {
	for _, tt := range []struct {
		moved verdict
		age   int64 // days since it left its baseline
		moves float32
		want  float64
	}{
		{firstFell, 11, 0, 0},
		{firstFell, 9, 0, fallOhm},
		{firstFell, 11, 0.002, fallOhm},
		{secondFell, 11, 0, fallOhm},
		{0, 11, 0, fallOhm},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := &e.s.Ch[0]
		c.UN, c.Rise = recent, 100*dayS-tt.age*dayS
		for i := range c.U {
			c.U[i] = -0.01
			if i >= recent-4 {
				c.U[i] -= tt.moves
			}
		}
		if got := e.healedLeast(0, &picture{at: 100 * dayS, moved: tt.moved}); got != tt.want {
			t.Errorf("%+v: %g", tt, got)
		}
	}
}
