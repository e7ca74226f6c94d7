package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// besides is what neighbours of a pair know of its copper: they follow its day by 0.7,
// one of them warms and cools by itself, and their baselines began on a warmer day.
func besides(seed uint64) func(i int) *Neighbour {
	return func(i int) *Neighbour {
		r := rand.New(rand.NewPCG(seed, uint64(i/40)))
		return &Neighbour{Loops: 3, Factor: 0.96 * (1 + 0.7*(copperOn(float64(i)/perDay)-1) + 0.002*r.NormFloat64())}
	}
}

// besideAPair runs a pair from one sample to another with what its neighbours say.
func besideAPair(e *Engine, c *cable, nb func(int) *Neighbour, from, to int) []finding.Finding {
	var out []finding.Finding
	for i := from; i < to; i++ {
		s := c.at(e.m.spec, i)
		out = e.Step(&s, nb(i), out)
	}
	return out
}

// Of two leads one moves, up or down, slowly or at once: the neighbours say which, and
// no other is ever named.
func TestNeighboursTellWhichOfTwoMoved(t *testing.T) {
	slow := func(to float64) func(d float64) float64 {
		return func(d float64) float64 { return to * min(max(0, d-40)/30, 1) }
	}
	once := func(to float64) func(d float64) float64 {
		return func(d float64) float64 {
			if d < 50.3 {
				return 0
			}
			return to
		}
	}
	tests := []struct {
		name  string
		moves func(d float64) float64
		kind  finding.Kind
	}{
		{"rises slowly", slow(0.06), finding.LeadDrift},
		{"falls slowly", slow(-0.06), finding.ThermalEMF},
		{"rises at once", once(0.05), finding.LeadStep},
		{"rises, and swings through zero", func(d float64) float64 { return slow(0.09)(d) * math.Sin(2*math.Pi*d/11) }, finding.ThermalEMF},
	}
	for _, tt := range tests {
		for _, lead := range []measure.Lead{measure.B1, measure.B2} {
			for seed := range uint64(3) {
				e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
				c := newCable(seed)
				c.fault = func(d float64, v *[measure.LeadCount]float64) { v[lead] += tt.moves(d) }
				out := counted(besideAPair(e, &c, besides(seed), 0, 75*perDay))
				if len(out) == 0 {
					t.Errorf("%v %s, seed %d: not found", lead, tt.name, seed)
					continue
				}
				if f := out[len(out)-1]; f.Kind != tt.kind {
					t.Errorf("%v %s, seed %d: called %s, want %s: %s", lead, tt.name, seed, f.Kind, tt.kind, f.Evidence)
				}
				for _, f := range out {
					if f.Leads != finding.LeadsOf(lead) {
						t.Errorf("%v %s, seed %d: %v named on day %.1f: %s", lead, tt.name, seed, f.Leads.Names(), on(f.Time), f.Evidence)
						break
					}
				}
				if !slices.ContainsFunc(out, func(f finding.Finding) bool { return strings.Contains(f.Evidence, "the copper of 3 neighbours") }) {
					t.Errorf("%v %s, seed %d: nobody says how that is known", lead, tt.name, seed)
				}
			}
		}
	}
}

// Without neighbours a fall is the rise of the other: the only thing that two leads
// alone can be taken for.
func TestAPairAloneTakesAFallForARise(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(1)
	c.fault = growth(measure.B1, 40, -0.002)
	out := counted(besideAPair(e, &c, func(int) *Neighbour { return nil }, 0, 75*perDay))
	if len(out) == 0 || out[len(out)-1].Leads != finding.LeadsOf(measure.B2) || e.s.Copper.Moved != 0 {
		t.Errorf("found %v, moved %d", printed(out), e.s.Copper.Moved)
	}
}

// A lead that loses a bad contact at once was retightened, and its neighbours say that
// it was not the other one that rose.
func TestOneOfTwoRetightenedBesideNeighbours(t *testing.T) {
	for _, fell := range []measure.Lead{measure.B1, measure.B2} {
		for seed := range uint64(4) {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
			c := newCable(seed)
			c.lead[fell] += 0.03
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				if d > 60.2 {
					v[fell] -= 0.029
				}
			}
			all := besideAPair(e, &c, besides(seed), 0, 100*perDay)
			for _, f := range bad(all) {
				t.Errorf("%v retightened, seed %d: %s %v on day %.1f: %s", fell, seed, f.Kind, f.Leads.Names(), on(f.Time), f.Evidence)
			}
			if !slices.ContainsFunc(all, func(f finding.Finding) bool {
				return f.Kind == finding.LeadRestored && f.Leads == finding.LeadsOf(fell)
			}) {
				t.Errorf("%v retightened, seed %d: nobody says so", fell, seed)
			}
		}
	}
}

// What the neighbours do is no matter of the pair: their copper may jump, come from
// others, or be missing for weeks, and a sound pair is silent.
func TestWhatNeighboursDoIsNotThePairs(t *testing.T) {
	plain := besides(7)
	for name, nb := range map[string]func(int) *Neighbour{
		"jump":           func(i int) *Neighbour { x := *plain(i); x.Factor += 0.05 * float64(min(i/(50*perDay), 1)); return &x },
		"others":         func(i int) *Neighbour { x := *plain(i); x.Loops += i / (20 * perDay); return &x },
		"are gone":       func(i int) *Neighbour { x := *plain(i); x.Loops *= i / (9 * perDay) % 2; return &x },
		"stand still":    func(int) *Neighbour { return &Neighbour{Loops: 2, Factor: 1} },
		"follow no day":  func(i int) *Neighbour { return &Neighbour{Loops: 2, Factor: 1 + 0.02*math.Sin(float64(i)/900)} },
		"know no number": func(int) *Neighbour { return &Neighbour{Loops: 2, Factor: math.NaN()} },
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(7)
		if out := counted(besideAPair(e, &c, nb, 0, 120*perDay)); len(out) > 0 {
			t.Errorf("neighbours %s: %s", name, out[0].Evidence)
		}
	}
}

// From others than those that it was learnt with the middle of a pair says nothing.
func TestOtherNeighboursAreNoWitness(t *testing.T) {
	for _, loops := range []int{3, 4, 2, 0} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(2)
		c.fault = growth(measure.B1, 40, -0.002)
		plain := besides(2)
		nb := func(i int) *Neighbour {
			x := *plain(i)
			if e.parted() {
				x.Loops = loops
			}
			return &x
		}
		besideAPair(e, &c, nb, 0, 75*perDay)
		if want := loops == 3; (e.s.Copper.Moved == firstMoved) != want {
			t.Errorf("learnt from 3, then %d: moved %d", loops, e.s.Copper.Moved)
		}
	}
}

// The neighbours' copper is a ratio to baselines that nobody knows: any multiple of it
// says the same.
func TestAnyMultipleOfTheNeighboursSaysTheSame(t *testing.T) {
	tell := func(times float64) (uint8, string) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(4)
		c.fault = growth(measure.B2, 40, -0.002)
		plain := besides(4)
		out := besideAPair(e, &c, func(i int) *Neighbour { x := *plain(i); x.Factor *= times; return &x }, 0, 70*perDay)
		return e.s.Copper.Moved, string(out[len(out)-1].Kind) + " " + strings.Join(out[len(out)-1].Leads.Names(), " ")
	}
	moved, said := tell(1)
	if moved != secondMoved {
		t.Fatalf("moved %d, want %d: %s", moved, secondMoved, said)
	}
	for _, times := range []float64{0.8, 0.95, 1.3} {
		if m, s := tell(times); m != moved || s != said {
			t.Errorf("times %g: %d, %s; want %d, %s", times, m, s, moved, said)
		}
	}
}

// Turned round twice everything is as it was, but for what was forgotten on the way.
func TestTurnedRoundTwice(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(rapid.Uint64().Draw(rt, "seed"))
		c.fault = growth(measure.B1, 10, rapid.Float64Range(-0.004, 0.004).Draw(rt, "Ω a day"))
		besideAPair(e, &c, func(int) *Neighbour { return nil }, 0, 25*perDay)
		apart := func() (d [recent]float64) {
			for i := range d {
				d[i] = float64(e.s.Ch[0].U[i])/e.s.Ch[0].Base - float64(e.s.Ch[1].U[i])/e.s.Ch[1].Base
			}
			return d
		}
		before, couple, jump := apart(), e.s.Ch[0].Couple, e.s.Ch[0].Jump
		e.turnRound(0)
		for i, u := range e.s.Ch[0].U {
			if u != 0 {
				rt.Fatalf("the sound lead stands at %g in block %d", u, i)
			}
		}
		e.turnRound(1)
		for i, d := range apart() {
			if math.Abs(d-before[i]) > 1e-5 {
				rt.Errorf("block %d: the leads are %g apart, %g before", i, d, before[i])
			}
		}
		if e.s.Ch[0].Couple != couple || e.s.Ch[0].Jump != jump {
			rt.Errorf("movement %+v, jump %g; before %+v, %g", e.s.Ch[0].Couple, e.s.Ch[0].Jump, couple, jump)
		}
	})
}

// What the explaining display shows of the middle is what the evidence states: the
// median of eight blocks.
func TestTheMiddleCanBeFollowedByHand(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(5)
	c.fault = growth(measure.B1, 40, -0.002)
	nb := besides(5)
	var ring [8]float32
	var v View
	checked := 0
	for i := range 60 * perDay {
		s := c.at(e.m.spec, i)
		said := e.Step(&s, nb(i), nil)
		if block := v.Block; true {
			e.Explain(&v)
			if !v.Block.Equal(block) {
				copy(ring[:], ring[1:])
				ring[7] = float32(v.Middle)
			}
		}
		for _, f := range said {
			if _, after, ok := strings.Cut(f.Evidence, "the middle of both is "); ok {
				checked++
				if want := ohms(math.Abs(median32(ring[:]))) + " below"; !strings.HasPrefix(after, want) {
					t.Errorf("day %.1f: the middle is %q, by hand %s", on(f.Time), after, want)
				}
				if want := "(scatter ±" + ohms(float64(v.MiddleU)) + ")"; !strings.HasSuffix(f.Evidence, want) {
					t.Errorf("day %.1f: %q, by hand %s", on(f.Time), after, want)
				}
			}
		}
	}
	if checked == 0 {
		t.Error("the middle is never mentioned")
	}
}

// What a lead was followed by as a rise is the other's fall, field by field.
func TestMirror(t *testing.T) {
	a := chState{
		Couple: coupleState{Even: 1, Slow: 2, UU: 3, UT: 4, UB: 5}, Swing: swing{UU: 1, FF: 2, UF: 3, Day: [4]float32{1, -2, 3, 4}},
		Jump: 0.02, JumpAt: 7, Lag: 2, Rise: 5, Above: 4, Over: 3, Swings: 6, Turn: 0.5, Turns: 2, Down: true, Peak: 0.3, Track: 0.2,
		Flagged: true, Risen: true, PrevOK: true, Spike: spikeState{Run: 1},
	}
	b := chState{Jump: -0.001, JumpAt: 1, Rise: 2, Risen: true, PrevOK: true, Spike: spikeState{Run: 2}, UN: 3}
	b.U[recent-3], b.U[recent-2], b.U[recent-1] = -0.25, -0.25, -0.25
	x, y := a, b
	x.mirror(&y)
	want := b
	want.Couple = coupleState{Even: -1, Slow: -2, UU: 3, UT: -4, UB: -5}
	want.Swing = swing{UU: 1, FF: 2, UF: -3, Day: [4]float32{-1, 2, -3, -4}}
	want.Jump, want.JumpAt, want.Lag, want.Rise = -0.02, 7, 2, 5
	want.Above, want.Over, want.Swings, want.Turn, want.Turns, want.Down = 4, 3, 6, -0.5, 2, false
	want.Flagged, want.Risen, want.PrevOK, want.Spike.Run, want.Track = true, false, false, 0, -0.25
	if d := cmp.Diff(want, y, cmp.AllowUnexported(chState{}, coupleState{}, swing{}, fit{}, spikeState{})); d != "" {
		t.Errorf("the one that fell:\n%s", d)
	}
	if x.Jump != 0.001 || x.JumpAt != 1 || x.Rise != 2 || x.Above != 0 || x.Over != 0 || x.Flagged || x.Risen || x.PrevOK || x.Spike.Run != 0 || x.Peak != 0 || x.Track != 0 || !x.Down {
		t.Errorf("the sound one: %+v", x)
	}
}

// When everything turns round, the copper of the recent blocks is that of the sound
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
	p := picture{raw: [channels]float64{0, 0.03}, level: [channels]float64{0, 0.03}, moved: 0}
	e.turn(firstMoved, &p)
	for i, f := range e.s.Copper.Ring {
		if math.Abs(float64(f)-want[i]) > 1e-6 {
			t.Errorf("block %d: copper factor %g, of b2 alone %g", i, f, want[i])
		}
	}
	if math.Abs(e.s.Copper.F-want[recent-1]) > 1e-6 || e.s.Copper.Moved != firstMoved || r.Channels != 1<<0 {
		t.Errorf("now %g, moved %d, finding on channels %b", e.s.Copper.F, e.s.Copper.Moved, r.Channels)
	}
	if l := p.level[0]; !(l < -0.02) || p.level[1] != 0 {
		t.Errorf("levels %g and %g, want a fall of b1", l, p.level[1])
	}
}

// What is said of the middle: its line must be learnt, what the two parted by must stand
// above its scatter and above what the neighbours do beyond it, and a quarter of it must
// have gone one way.
func TestWhatIsHeard(t *testing.T) {
	for _, tt := range []struct {
		name             string
		learnt           float32
		scale, off       float32 // Ω
		d, middle, limit float64 // Ω
		stands           bool
		was, want        uint8
	}{
		{"the first rose", 24, 0.001, 0, 0.03, 0.015, 0.005, false, 0, firstMoved},
		{"the first fell", 24, 0.001, 0, -0.03, -0.015, 0.005, false, 0, firstMoved},
		{"the second rose", 24, 0.001, 0, -0.03, 0.015, 0.005, false, 0, secondMoved},
		{"the second fell", 24, 0.001, 0, 0.03, -0.015, 0.005, false, 0, secondMoved},
		{"less than a quarter", 24, 0.001, 0, 0.03, 0.007, 0.005, false, 0, 0},
		{"not yet learnt", 23, 0.001, 0, 0.03, 0.015, 0.005, false, 0, 0},
		{"within five times the scatter", 24, 0.0061, 0, 0.03, 0.015, 0.005, false, 0, 0},
		{"within a tenth of what the neighbours did", 24, 0.001, 0.26, 0.03, 0.015, 0.005, false, 0, 0},
		{"too small to matter", 24, 0.0001, 0, 0.0025, 0.00125, 0.005, false, 0, 0},
		{"small, and it stays", 24, 0.0001, 0, 0.0025, 0.00125, 0.005, false, secondMoved, secondMoved},
		{"near its baseline", 24, 0.0001, 0, 0.001, 0, 0.005, false, firstMoved, 0},
		{"near its baseline while a finding stands", 24, 0.0001, 0, 0.001, 0, 0.005, true, firstMoved, firstMoved},
		{"told otherwise", 24, 0.001, 0, 0.03, 0.015, 0.005, true, secondMoved, firstMoved},
		{"nothing is heard any more", 24, 0.001, 0, 0.03, math.NaN(), 0.005, true, secondMoved, secondMoved},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		e.s.Ch[0].Base, e.s.Ch[1].Base = 0.5, 0.5
		c := &e.s.Ch[bareOf]
		c.ScaleN, c.Scale, e.s.Copper.Off, c.UN = tt.learnt, tt.scale, tt.off, recent
		for i := range c.U {
			c.U[i] = float32(tt.middle)
		}
		if tt.stands {
			e.s.Found[aboutContact].Kind = kindIndex(finding.LeadDrift)
		}
		p := picture{raw: [channels]float64{tt.d, 0}, limit: [channels]float64{tt.limit, 2 * tt.limit}, moved: tt.was}
		if got := e.witness(&p); got != tt.want {
			t.Errorf("%s: %d, want %d", tt.name, got, tt.want)
		}
	}
}

// A lead whose step is learnt takes the middle of the pair half of the way with it.
func TestWhatIsAbsorbedMovesTheMiddle(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	besideAPair(e, &c, besides(3), 0, 20*perDay)
	b := &e.s.Ch[bareOf]
	at, slope := b.Fit.line(witnessSteep)
	u := b.U
	e.absorb(1, 0.02)
	if x, s := b.Fit.line(witnessSteep); math.Abs(x-at-0.01) > 1e-6 || math.Abs(s-slope) > 1e-5 {
		t.Errorf("line %g and %g, before %g and %g: want 10 mΩ more", x, s, at, slope)
	}
	for i := range u {
		if math.Abs(float64(u[i]-b.U[i])-0.01) > 1e-7 {
			t.Errorf("block %d: %g, before %g: want 10 mΩ less", i, b.U[i], u[i])
		}
	}
}

// Of two leads that agree the copper is the mean, and one that has gone moves it by half
// a gate at most.
func TestOfTold(t *testing.T) {
	for _, tt := range [][3]float64{{1, 1.01, 1.005}, {1, 0.99, 0.995}, {1, 1.5, 1.01}, {1, 0.5, 0.99}} {
		if got := ofTold(tt[0], tt[1], 0.02); math.Abs(got-tt[2]) > 1e-12 {
			t.Errorf("%g beside %g: %g, want %g", tt[0], tt[1], got, tt[2])
		}
	}
}
