package drift

import (
	"math"
	"strings"
	"testing"

	"ohmdrift/diagnostics/wiring"
)

// spoke returns an engine with a month of a sound loop.
func spoke(t *testing.T) *Engine {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(7)
	c.feed(e, 0, 30*perDay)
	return e
}

// A movement is said to go with the temperature of the cable, or to repeat daily,
// only where its numbers say so.
func TestThermalWordsFollowTheNumbers(t *testing.T) {
	for _, tt := range []struct {
		f, day    float32
		want, not string
	}{
		{0.6, 0, "with the temperature of the cable (correlation 0.60, 0 %", "hardly"},
		{-0.6, 0, "with the temperature of the cable (correlation −0.60, 0 %", "hardly"},
		{0.25, 0.3, "and 30 % of it repeats daily", "off, with the"},
		{-0.25, 0.01, "hardly with the temperature of the cable (correlation −0.25, 1 %", "off, with the"},
	} {
		e := spoke(t)
		s := &e.s.Ch[1].Swing
		*s = swing{UU: 1e-4, FF: 1e-4, UF: tt.f * 1e-4}
		for i := range s.Day { // two quarters above, two below
			s.Day[i] = float32(1-i/2*2) * 0.01 * float32(math.Sqrt(float64(tt.day)))
		}
		p := e.newest()
		got := e.sayThermal(1, &p)
		if !strings.Contains(got, tt.want) || strings.Contains(got, tt.not) {
			t.Errorf("%g and %g: %q, want %q and no %q", tt.f, tt.day, got, tt.want, tt.not)
		}
	}
}

// The rule that excursions met comes first.
func TestTheRuleOfExcursionsComesFirst(t *testing.T) {
	for want, s := range map[string]spikeState{
		"9.0 short rises of lead b1 are seen in the sensor value":   {Sure: 9, Size: 0.05},
		"40.0 short rises of lead b1 go on for longer than a shift": {Maybe: 40, Size: 0.05, Spell: 9000},
		"odds of over ": {Maybe: 1, Size: 0.05, Odds: 1e3},
	} {
		e := spoke(t)
		e.s.Ch[1].Spike = s
		if !e.spiking(1) {
			t.Fatalf("%q: not spiking", want)
		}
		if got := e.saySpikes(1); !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What a month leaves of a young baseline is not worth a word.
func TestAYoungBaselineIsTold(t *testing.T) {
	e := spoke(t)
	p := e.newest()
	for grow, want := range map[float64]bool{1.02: false, 1.5: true} {
		p.grow = grow
		if got := strings.Contains(e.rule(1, &p), "young"); got != want {
			t.Errorf("a factor of %g: told %v, want %v", grow, got, want)
		}
	}
}

// What is too new for the level of two days is told by that of 18 hours, so that the
// number is beyond the threshold beside it.
func TestADriftIsToldByTheLevelThatIsBeyond(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	for level, want := range map[float64]string{2: "4.2 mΩ beyond its copper (median of 18 hours)", 3.5: "3.5 mΩ beyond its copper (median of two days)"} {
		p := levelsOf(level, 0, 0)
		p.quick[0], p.reach[0] = 0.0042, math.Inf(1)
		if got := e.sayDrift(0, p); !strings.Contains(got, want) {
			t.Errorf("level of %g mΩ: %s; want %s", level, got, want)
		}
	}
}
