package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

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

// Others that speak begin the line anew, unless the two stand apart: then nobody is heard.
func TestOthersSpeak(t *testing.T) {
	for _, apart := range []bool{false, true} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
		c := newCable(3)
		besideAPair(e, &c, besides(3), 0, 20*perDay)
		e.s.Ch[1].Flagged = apart
		b := &e.s.Ch[middleOf]
		before := b.Fit
		e.othersSpeak(2)
		if apart && (e.s.Copper.Loops != 0 || b.Fit != before) || !apart && (e.s.Copper.Loops != 2 || b.Fit != fit{} || b.Scale != 0 || b.ScaleN != 0 || b.UN != 0) {
			t.Errorf("apart %v: %d neighbours, line %+v, scatter %g of %g blocks, %d blocks", apart, e.s.Copper.Loops, b.Fit, b.Scale, b.ScaleN, b.UN)
		}
	}
}

// that of the line.
func TestScatterOfTheMiddle(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.PairsOnly))
	c := newCable(3)
	plain, more := besides(3), 0.0
	nb := func(i int) *Neighbour { x := *plain(i); x.Factor += more; return &x }
	b := &e.s.Ch[middleOf]
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
