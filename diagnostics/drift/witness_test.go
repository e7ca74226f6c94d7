package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

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
