package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// levelsOf returns a picture with levels in mΩ against a threshold of 3 mΩ.
func levelsOf(level ...float64) *picture {
	p := &picture{f: 1, at: 1e9}
	for k, x := range level {
		p.level[k], p.limit[k] = x/1000, 0.003
	}
	return p
}

func TestBalanced(t *testing.T) {
	for _, tt := range []struct {
		name  string
		level []float64
		even  bool
	}{
		{"exchanged", []float64{3.3, -2.9, 0.1}, true},
		{"exchanged, one input drifted", []float64{4.5, -2.7, 0}, true},
		{"exchanged, of four", []float64{0, 0.3, -3.5, 3.1}, true},
		{"a contact", []float64{4, 0, 0}, false},
		{"a contact that pulled the copper", []float64{2.7, -1.3, -1.3}, false},
		{"a voltage", []float64{0, -5, 0}, false},
		{"the third rose, too", []float64{4, -3.5, 2}, false},
		{"far beyond", []float64{7, -6.5, 0}, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", map[int]wiring.Method{3: wiring.ThreeWireDual, 4: wiring.FourWire}[len(tt.level)], wiring.AllLeads))
		a, b, even := e.balanced(levelsOf(tt.level...))
		if even != tt.even || even && (a == b || tt.level[a] <= 0 || tt.level[b] >= 0) {
			t.Errorf("%s: %d, %d, %v", tt.name, a, b, even)
		}
	}
}

// Two leads are learnt as exchanged after three days in which each stood where the
// other had been, and not while something about a contact stands.
func TestExchangedByLittle(t *testing.T) {
	for _, tt := range []struct {
		name    string
		apart   float64 // mΩ by which b1 was longer than a1
		rest    int     // block with another picture
		found   bool
		learnt  int // block; 0 = never
		through int
	}{
		{"each where the other stood", 3.2, 0, false, balancedFor, balancedFor},
		{"leads of one length", 0, 0, false, 0, 3 * balancedFor},
		{"leads that were further apart", 8, 0, false, 0, 3 * balancedFor},
		{"the shorter one fell", -3.2, 0, false, 0, 3 * balancedFor},
		{"with a break", 3.2, 5, false, 5 + balancedFor, 5 + balancedFor},
		{"a contact is known", 3.2, 0, true, 0, 3 * balancedFor},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		for k := range e.m.n {
			e.s.Ch[k].Base = 0.5
		}
		e.s.Ch[1].Base += tt.apart / 1000
		if tt.found {
			e.s.Found[aboutContact].Kind = 1
		}
		learnt := 0
		for i := 1; i <= tt.through && learnt == 0; i++ {
			p := levelsOf(3.3, -2.9, 0.1)
			if i == tt.rest {
				p = levelsOf(3.3, 0, 0.1)
			}
			if a, b, ok := e.exchanged(p); ok {
				if learnt = i; a != 0 || b != 1 {
					t.Errorf("%s: leads %d and %d", tt.name, a, b)
				}
			}
		}
		if learnt != tt.learnt {
			t.Errorf("%s: learnt after %d blocks, want %d", tt.name, learnt, tt.learnt)
		}
	}
}

// A voltage that pulls a lead below its copper is looked for from two terminal
// points on, unless cores of so long a cable may differ by as much.
func TestFallFromWhichAVoltageIsLookedFor(t *testing.T) {
	for base, want := range map[float64]float64{0.2: 0.01, 0.8: 0.01, 1.2: 0.0144, 5: 0.02} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
		e.s.Ch[0].Base = base
		if got := e.fallLeast(0); math.Abs(got-want) > 1e-9 {
			t.Errorf("lead of %g Ω: %g, want %g", base, got, want)
		}
	}
	e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
	c := newCable(6)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { v[measure.A2] -= min(max(0, d-40)*0.0005, 0.014) }
	b := bad(c.feed(e, 0, 85*perDay))
	if len(b) == 0 || b[0].Kind != finding.ThermalEMF || b[0].Leads != finding.LeadsOf(measure.A2) {
		t.Fatalf("found %v, want a voltage in a2", printed(b))
	}
	if d := on(b[0].Time); d < 60 || d > 66 {
		t.Errorf("told on day %.1f, want it with 10 mΩ, from day 60 on", d)
	}
}

// young returns an engine of three leads of one length that has said nothing yet, all
// of them beyond their thresholds for as long as a rise takes to be told.
func young(t *testing.T) *Engine {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	for k := range e.m.n {
		e.s.Ch[k].Base, e.s.Ch[k].Over = 0.5, believe
	}
	return e
}

// What two leads have that are balanced waits, and the third is not taken for copper
// that two rose against; a contact and what is far beyond do not wait.
func TestBalancedLeadsWait(t *testing.T) {
	for _, tt := range []struct {
		name  string
		level []float64
		told  bool
		two   bool
	}{
		{"exchanged", []float64{3.3, -3.2, 0.1}, false, false},
		{"a contact", []float64{3.3, 0, 0.1}, true, false},
		{"two that rose, far beyond", []float64{7, -6.8, 0.1}, true, true},
	} {
		e, p := young(t), levelsOf(tt.level...)
		for k := range e.m.n {
			p.reach[k] = math.Inf(1)
			p.quick[k] = p.level[k]
		}
		if told := e.weigh(0, p) > 0; told != tt.told {
			t.Errorf("%s: told %v, want %v", tt.name, told, tt.told)
		}
		if two := e.twoRose(p); two != tt.two {
			t.Errorf("%s: two rose %v, want %v", tt.name, two, tt.two)
		}
	}
}

// A lead far below its copper of which the last blocks are above it, as where a hot line
// stood in the baseline and is off by turns, did not rise.
func TestLastBlocksAboveALevelBelow(t *testing.T) {
	for level, told := range map[float64]bool{-38: false, 2: true} {
		e, p := young(t), levelsOf(level, 0, 0)
		p.quick[0], p.reach[0] = 0.0097, math.Inf(1)
		if got := e.weigh(0, p) > 0; got != told {
			t.Errorf("level of %g mΩ: told %v, want %v", level, got, told)
		}
	}
}

// From samples: b1 comes to where b2 was and b2 to where b1 was, too slowly for a jump to
// be seen. It is a note and no finding.
func TestExchangeThatNobodySawIsLearnt(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(11)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		x := 0.0036 * min(max(0, d-60)/3, 1)
		v[measure.B1] += x
		v[measure.B2] -= x
	}
	fs := c.feed(e, 0, 90*perDay)
	if b := bad(fs); len(b) > 0 {
		t.Errorf("told: %v", printed(b))
	}
	if !slices.ContainsFunc(fs, func(f finding.Finding) bool {
		return f.Kind == finding.LeadsSwapped && f.Leads == finding.LeadsOf(measure.B1)|finding.LeadsOf(measure.B2)
	}) {
		t.Errorf("nobody notes it: %v", printed(fs))
	}
}
