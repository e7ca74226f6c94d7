package drift

import (
	"math"
	"math/rand/v2"
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
				if !slices.ContainsFunc(out, func(f finding.Finding) bool { return strings.Contains(f.Evidence, "by the copper of 3 neighbours") }) {
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

// Where most of the limit went at once, half a day names the lead that seems to have
// risen. When the neighbours say that the other one fell, that is over, and it is no
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
		if want := loops == 3; (e.s.Copper.Moved == firstFell) != want {
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
	if moved != secondFell {
		t.Fatalf("moved %d, want %d: %s", moved, secondFell, said)
	}
	for _, times := range []float64{0.8, 0.95, 1.3} {
		if m, s := tell(times); m != moved || s != said {
			t.Errorf("times %g: %d, %s; want %d, %s", times, m, s, moved, said)
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
			if _, after, ok := strings.Cut(f.Evidence, "the mean of both is "); ok {
				checked++
				if want := ohms(math.Abs(median32(ring[:]))) + " too low"; !strings.HasPrefix(after, want) {
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

// What a lead was followed by as a rise is the other's fall, field by field, and where
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
	f := e.s.Copper.F
	p := picture{raw: [channels]float64{0, 0.03}, level: [channels]float64{0, 0.03}, moved: 0}
	pair := e.s.Pair
	e.s.Still.At = 0.03
	e.turn(firstFell, &p)
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

// What is said of the middle: its line must be learnt, what the two parted by must stand
// above its scatter and above what the neighbours do beyond it, and about half of it must
// have gone one way. While a finding stands it holds until the two change sides.
func TestWhatIsHeard(t *testing.T) {
	for _, tt := range []struct {
		name             string
		learnt           float32
		scale, off       float32 // Ω
		d, middle, limit float64 // Ω
		loops            uint8
		known            int   // blocks of two days
		stands           uint8 // channels of a finding
		was, want        uint8
	}{
		{"the first rose", 24, 0.001, 0, 0.03, 0.015, 0.005, 3, 8, 0, 0, firstRose},
		{"the first fell", 24, 0.001, 0, -0.03, -0.015, 0.005, 3, 8, 0, 0, firstFell},
		{"the second rose", 24, 0.001, 0, -0.03, 0.015, 0.005, 3, 8, 0, 0, secondRose},
		{"the second fell", 24, 0.001, 0, 0.03, -0.015, 0.005, 3, 8, 0, 0, secondFell},
		{"less than a quarter", 24, 0.001, 0, 0.03, 0.007, 0.005, 3, 8, 0, 0, 0},
		{"more than three quarters", 24, 0.001, 0, 0.03, -0.024, 0.005, 3, 8, 0, 0, 0},
		{"not yet learnt", 23, 0.001, 0, 0.03, 0.015, 0.005, 3, 8, 0, 0, 0},
		{"a rise within its scatter", 24, 0.0212, 0, 0.03, 0.015, 0.005, 3, 8, 0, 0, 0},
		{"a rise beyond its scatter", 24, 0.0210, 0, 0.03, 0.015, 0.005, 3, 8, 0, 0, firstRose},
		{"a fall within its scatter", 24, 0.0092, 0, -0.03, -0.015, 0.005, 3, 8, 0, 0, 0},
		{"a fall beyond its scatter", 24, 0.0090, 0, -0.03, -0.015, 0.005, 3, 8, 0, 0, firstFell},
		{"a fall within a tenth of what the neighbours did", 24, 0.001, 0.092, -0.03, -0.015, 0.005, 3, 8, 0, 0, 0},
		{"a fall beyond a tenth of what the neighbours did", 24, 0.001, 0.088, -0.03, -0.015, 0.005, 3, 8, 0, 0, firstFell},
		{"a fall within half a kelvin", 24, 0.0001, 0, -0.003, -0.0015, 0.004, 3, 8, 0, 0, 0},
		{"a fall beyond half a kelvin", 24, 0.0001, 0, -0.0034, -0.0017, 0.004, 3, 8, 0, 0, firstFell},
		{"too small to matter", 24, 0.0001, 0, 0.0025, 0.00125, 0.005, 3, 8, 0, 0, 0},
		{"small, and it stays", 24, 0.0001, 0, 0.0025, -0.00125, 0.005, 3, 8, 0, firstRose, firstRose},
		{"near its baseline", 24, 0.0001, 0, 0.001, 0, 0.005, 3, 8, 0, firstRose, 0},
		{"near its baseline while a finding stands", 24, 0.0001, 0, 0.001, 0, 0.005, 3, 8, 0b10, firstRose, firstRose},
		{"near its baseline while one stands about the sensor value", 24, 0.0001, 0, 0.001, 0, 0.005, 3, 8, 1 << ofSensor, firstRose, 0},
		{"told otherwise", 24, 0.001, 0, 0.03, -0.015, 0.005, 3, 8, 0, firstRose, secondFell},
		{"told otherwise while a finding stands", 24, 0.001, 0, 0.03, -0.015, 0.005, 3, 8, 0b01, firstRose, firstRose},
		{"through zero", 24, 0.001, 0, -0.03, -0.015, 0.005, 3, 8, 0b01, firstRose, firstFell},
		{"through zero, a second one", 24, 0.001, 0, -0.03, -0.015, 0.005, 3, 8, 0b10, secondFell, firstFell},
		{"overtaken by the other", 24, 0.001, 0, -0.03, 0.015, 0.005, 3, 8, 0b01, firstRose, secondRose},
		{"nothing is heard any more", 24, 0.001, 0, 0.03, math.NaN(), 0.005, 3, 8, 0b01, secondFell, secondFell},
		{"heard for a day", 24, 0.001, 0, 0.03, 0.015, 0.005, 3, 4, 0, 0, firstRose},
		{"heard for less", 24, 0.001, 0, 0.03, 0.015, 0.005, 3, 3, 0, 0, 0},
		{"others speak now", 24, 0.001, 0, 0.03, 0.015, 0.005, 0, 8, 0, 0, 0},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		e.s.Ch[0].Base, e.s.Ch[1].Base, e.s.Copper.Loops = 0.5, 0.5, tt.loops
		c := &e.s.Ch[bareOf]
		c.ScaleN, c.Scale, e.s.Copper.Off, c.UN = tt.learnt, tt.scale, tt.off, recent
		for i := range c.U {
			c.U[i] = float32(nan)
			if i >= recent-tt.known {
				c.U[i] = float32(tt.middle)
			}
		}
		e.s.Found[aboutContact].Channels = tt.stands
		p := picture{raw: [channels]float64{tt.d, 0}, limit: [channels]float64{tt.limit, 2 * tt.limit}, moved: tt.was}
		if got := e.witness(&p); got != tt.want {
			t.Errorf("%s: %d, want %d", tt.name, got, tt.want)
		}
	}
}

// What is learnt of a lead is learnt of the middle: it stands where it is.
func TestWhatIsAbsorbedIsAgreed(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	besideAPair(e, &c, besides(3), 0, 20*perDay)
	b := &e.s.Ch[bareOf]
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

// Of two leads that agree the copper is the mean, and one that has gone moves it by half
// a gate at most.
func TestOfTold(t *testing.T) {
	for _, tt := range [][3]float64{{1, 1.01, 1.005}, {1, 0.99, 0.995}, {1, 1.5, 1.01}, {1, 0.5, 0.99}} {
		if got := ofTold(tt[0], tt[1], 0.02); math.Abs(got-tt[2]) > 1e-12 {
			t.Errorf("%g beside %g: %g, want %g", tt[0], tt[1], got, tt[2])
		}
	}
}

// A contact of one lead that stands is that lead's, whatever its neighbours do later: are
// learnt anew in the afternoon, jump, follow another season, are not polled any more.
func TestNeighboursDoNotChangeTheirMind(t *testing.T) {
	plain := besides(1)
	season := func(d float64) float64 { return 1 - 0.05*(1-math.Cos(2*math.Pi*max(0, d-30)/365)) }
	cools := func(d float64) float64 { return 1 - 0.04*min(max(0, d-45), 30)/30 }
	for _, tt := range []struct {
		name   string
		season func(float64) float64
		nb     func(i int) *Neighbour
	}{
		{"jump", nil, func(i int) *Neighbour { x := *plain(i); x.Factor += 0.03 * float64(min(i/(60*perDay), 1)); return &x }},
		{"follow the season alone", season, func(i int) *Neighbour {
			d := float64(i) / perDay
			return &Neighbour{Loops: 3, Factor: season(d) * (1 + (copperOn(d)-1)/0.3)}
		}},
		{"are not polled from day 45.40", cools, func(i int) *Neighbour { return plain(min(i, 4540*perDay/100)) }},
		{"are not polled from day 45.65", cools, func(i int) *Neighbour { return plain(min(i, 4565*perDay/100)) }},
		{"are not polled from day 45.90", cools, func(i int) *Neighbour { return plain(min(i, 4590*perDay/100)) }},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(1)
		c.season = tt.season
		c.fault = func(d float64, v *[measure.LeadCount]float64) { v[measure.B1] += 0.0012 * min(max(0, d-40), 12) }
		out := counted(besideAPair(e, &c, tt.nb, 0, 120*perDay))
		if len(out) == 0 {
			t.Errorf("neighbours %s: not found", tt.name)
		}
		for _, f := range out {
			if f.Kind != finding.LeadDrift || f.Leads != finding.LeadsOf(measure.B1) {
				t.Errorf("neighbours %s, day %.1f: %s %v: %s", tt.name, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
				break
			}
		}
	}
}

// besideOne runs a pair beside one real neighbour, of which work is entered at a sample.
func besideOne(e, n *Engine, c, cn *cable, work, to int) []finding.Finding {
	var out []finding.Finding
	nb := &Neighbour{}
	for i := range to {
		s, sn := c.at(e.m.spec, i), cn.at(n.m.spec, i)
		if i == work {
			n.Journal(sn.At, WorkDone, nil)
		}
		n.Step(&sn, nil, nil)
		out = e.Step(&s, nb, out)
		*nb = Neighbour{}
		if p := n.Publish(); !math.IsNaN(p.Factor) {
			*nb = Neighbour{Loops: 1, Factor: p.Factor}
		}
	}
	return counted(out)
}

// A neighbour that is learnt anew tells another factor than before: it is no witness of
// what stands, nor of what comes before its line is learnt.
func TestANeighbourThatIsLearntAnew(t *testing.T) {
	for _, work := range []int{6070 * perDay / 100, 39 * perDay, 4170 * perDay / 100} {
		for _, lead := range []measure.Lead{measure.B1, measure.B2} {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
			n := mustEngine(t, testSpec(t, "TT-2", wiring.FourWire, wiring.AllLeads))
			c, cn := newCable(1), newCable(99)
			c.fault = func(d float64, v *[measure.LeadCount]float64) { v[lead] += 0.0012 * min(max(0, d-40), 12) }
			out := besideOne(e, n, &c, &cn, work, 90*perDay)
			if len(out) == 0 {
				t.Errorf("%v, work on day %.1f: not found", lead, float64(work)/perDay)
			}
			for _, f := range out {
				if f.Kind != finding.LeadDrift || f.Leads != finding.LeadsOf(lead) {
					t.Errorf("%v, work on day %.1f: day %.1f: %s %v: %s", lead, float64(work)/perDay, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
					break
				}
			}
		}
	}
}

// In a wet box both leads of the only neighbour go bad, and one here: its copper is no
// witness, and the lead that rose is named.
func TestAWetBoxIsNoWitness(t *testing.T) {
	pair := func() *Engine { return mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly)) }
	c, cn := newCable(1), newCable(99)
	c.fault = growth(measure.B1, 40, 0.001)
	cn.fault = func(d float64, v *[measure.LeadCount]float64) {
		v[measure.B1] += 0.0015 * max(0, d-40)
		v[measure.B2] += 0.0015 * max(0, d-40)
	}
	out := besideOne(pair(), pair(), &c, &cn, -1, 90*perDay)
	if len(out) == 0 {
		t.Fatal("not found")
	}
	for _, f := range out {
		if f.Leads != finding.LeadsOf(measure.B1) || f.Kind == finding.ThermalEMF {
			t.Errorf("day %.1f: %s %v: %s", on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
		}
	}
}

// Other neighbours than those that the line was learnt with begin it anew.
func TestALineIsThatOfItsNeighbours(t *testing.T) {
	for _, step := range []float64{0.03, 0.06} {
		for _, day := range []int{42, 43, 44} {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
			c := newCable(1)
			c.fault = growth(measure.B1, 40, 0.0015)
			plain := besides(1)
			out := counted(besideAPair(e, &c, func(i int) *Neighbour {
				x := *plain(i)
				if i > day*perDay {
					x.Loops, x.Factor = 2, x.Factor+step
				}
				return &x
			}, 0, 60*perDay))
			if len(out) == 0 || out[len(out)-1].Kind != finding.LeadDrift || out[len(out)-1].Leads != finding.LeadsOf(measure.B1) {
				t.Errorf("two neighbours from day %d, %g more: %v", day, step, printed(out))
			}
		}
	}
}

// What heals by less than a voltage would be asked for is learnt, and what comes later is
// seen from there.
func TestOneOfTwoHealsALittleAndRelapses(t *testing.T) {
	for name, nb := range map[string]func(int) *Neighbour{"with": besides(1), "without": func(int) *Neighbour { return nil }} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(1)
		c.lead[measure.B1] += 0.016
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			v[measure.B1] += 0.0006*min(max(0, d-100), 25) - 0.015*(1-math.Exp(-max(0, d-40)/8))
		}
		all := besideAPair(e, &c, nb, 0, 160*perDay)
		if !slices.ContainsFunc(all, func(f finding.Finding) bool {
			return f.Kind == finding.LeadRestored && f.Leads == finding.LeadsOf(measure.B1) && on(f.Time) < 90
		}) {
			t.Errorf("%s neighbours: nobody says that it heals", name)
		}
		b := bad(all)
		if len(b) == 0 || b[0].Kind != finding.LeadDrift || b[0].Leads != finding.LeadsOf(measure.B1) || on(b[0].Time) < 101 {
			t.Errorf("%s neighbours: %v, want a drift of b1 after day 100", name, printed(b))
		}
	}
}

// Neighbours that are polled again long after a lead was named say that it was the other
// one: the finding changes lead and name at once, and never speaks of a contact below its
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

// Others that speak begin the line anew, unless the two stand apart: then nobody is heard.
func TestOthersSpeak(t *testing.T) {
	for _, apart := range []bool{false, true} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(3)
		besideAPair(e, &c, besides(3), 0, 20*perDay)
		e.s.Ch[1].Flagged = apart
		b := &e.s.Ch[bareOf]
		before := b.Fit
		e.othersSpeak(2)
		if apart && (e.s.Copper.Loops != 0 || b.Fit != before) || !apart && (e.s.Copper.Loops != 2 || b.Fit != fit{} || b.Scale != 0 || b.ScaleN != 0 || b.UN != 0) {
			t.Errorf("apart %v: %d neighbours, line %+v, scatter %g of %g blocks, %d blocks", apart, e.s.Copper.Loops, b.Fit, b.Scale, b.ScaleN, b.UN)
		}
	}
}

// The scatter of the middle is the mean absolute residual of the blocks after the first
// two days; while the two stand apart it is known how far the neighbours' copper is from
// that of the line.
func TestScatterOfTheMiddle(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	plain, more := besides(3), 0.0
	nb := func(i int) *Neighbour { x := *plain(i); x.Factor += more; return &x }
	b := &e.s.Ch[bareOf]
	sum, n, seen := 0.0, 0.0, float32(0)
	for i := range 9 * perDay {
		besideAPair(e, &c, nb, i, i+1)
		if b.ScaleN > seen {
			if seen = b.ScaleN; seen > witnessFirst {
				sum, n = sum+math.Abs(float64(b.U[recent-1])), n+1
			}
		}
	}
	if got, want := float64(b.Scale), sum/n; n < 20 || math.Abs(got/want-1) > 1e-3 {
		t.Errorf("scatter %g, by hand %g from %g blocks", got, want, n)
	}
	e.s.Ch[0].Flagged, more = true, 0.06
	besideAPair(e, &c, nb, 9*perDay, 9*perDay+37)
	if off := float64(e.s.Copper.Off) / e.middle(); off < 0.03 || off > 0.09 {
		t.Errorf("neighbours that are 6 %% away are %.1f %% away", off*100)
	}
}

// What has healed stands still, for as long as it takes to know, and only of a lead that
// the neighbours say fell is little enough to be learnt.
func TestHealedLeast(t *testing.T) {
	for _, tt := range []struct {
		moved uint8
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

// A fall of less than 10 mΩ is enough where the neighbours say that it is one, and what
// is shown of both leads is what is said.
func TestASmallFallBesideNeighbours(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(1)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { v[measure.B1] -= 0.009 * min(max(0, d-60)/20, 1) }
	still := func(i int) *Neighbour { return &Neighbour{Loops: 3, Factor: 0.96 * copperOn(float64(i)/perDay)} }
	out := counted(besideAPair(e, &c, still, 0, 95*perDay))
	if len(out) == 0 || out[len(out)-1].Kind != finding.ThermalEMF || out[len(out)-1].Leads != finding.LeadsOf(measure.B1) {
		t.Errorf("found %v, want a voltage of b1", printed(out))
	}
	var v View
	e.Explain(&v)
	if x := e.Estimate().Contact; !(v.Level[measure.B1] < -0.007 && v.Level[measure.B2] == 0 && x[measure.B1] < -0.005 && math.Abs(float64(x[measure.B2])) < 0.002) {
		t.Errorf("levels %v, contact parts %v: want some −9 mΩ of b1 and nothing of b2", v.Level, x)
	}
}

// Nothing is said of a middle that has gone elsewhere since.
func TestTheMiddleThatWentElsewhere(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	b := &e.s.Ch[bareOf]
	b.UN, e.s.Copper.Loops = recent, 1
	for i := range b.U {
		b.U[i] = 0.01
	}
	p := picture{level: [channels]float64{0.02, 0}, moved: firstRose}
	if s := e.sayWitness(0, &p); !strings.Contains(s, "by the copper of a neighbour the mean of both is 10.0 mΩ too high") {
		t.Errorf("said %q", s)
	}
	p.level[0] = -0.02
	if s := e.sayWitness(0, &p) + e.sayWitness(1, &p); s != "" {
		t.Errorf("said %q of a lead on the other side, and of the other lead", s)
	}
	p.level[0], e.s.Copper.Loops = 0.02, 0
	if s := e.sayWitness(0, &p); s != "" {
		t.Errorf("nobody speaks, and said %q", s)
	}
}

// A voltage that falls at once with its process was not retightened.
func TestAVoltageOfAPairAtOnce(t *testing.T) {
	for _, lead := range []measure.Lead{measure.B1, measure.B2} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(5)
		c.process, c.fault = batches, junction(lead, batches, 1, -0.5)
		all := besideAPair(e, &c, besides(5), 0, 60*perDay)
		for _, f := range all {
			if f.Kind == finding.LeadRestored {
				t.Errorf("%v: %s", lead, f.Evidence)
			}
		}
		out := counted(all)
		if len(out) == 0 || on(out[0].Time) > 46 {
			t.Errorf("%v: found %v", lead, printed(out))
		}
		for _, f := range out {
			if f.Leads != finding.LeadsOf(lead) {
				t.Errorf("%v, day %.1f: %s of %v: %s", lead, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
			}
		}
	}
}
