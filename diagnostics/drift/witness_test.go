package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

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

// What the neighbours do is no matter of the pair: their copper may jump, come from

// The neighbours' copper is a ratio to baselines that nobody knows: any multiple of it

// says the same.
func TestAnyMultipleOfTheNeighboursSaysTheSame(t *testing.T) {
	tell := func(times float64) (verdict, string) {
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

// When everything turns round, the copper of the recent blocks is that of the sound

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
		was, want        verdict
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
		c := &e.s.Ch[middleOf]
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

// Of two leads that agree the copper is the mean, and one that has gone moves it by half

// A contact of one lead that stands is that lead's, whatever its neighbours do later: are

// A neighbour that is learnt anew tells another factor than before: it is no witness of

// In a wet box both leads of the only neighbour go bad, and one here: its copper is no

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

// The scatter of the middle is the mean absolute residual of the blocks after the first

// two days; while the two stand apart it is known how far the neighbours' copper is from

// What has healed stands still, for as long as it takes to know, and only of a lead that

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
	b := &e.s.Ch[middleOf]
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
