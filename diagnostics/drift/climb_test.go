package drift

import (
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// TestClimbing holds two days of blocks against what sound leads do. The threshold
// is 3 mΩ; numbers are mΩ.
func TestClimbing(t *testing.T) {
	for _, tt := range []struct {
		name  string
		u     [climbBlocks]float32
		climb bool
	}{
		{"a steady rise", [...]float32{1, 3, 5, 7, 9, 11, 13, 15}, true},
		{"a rise that gains speed", [...]float32{0, 1, 2, 4, 6, 9, 12, 15}, true},
		{"a rise with a little noise", [...]float32{1, 4, 5, 8, 7.5, 11, 12, 15}, true},
		{"a step", [...]float32{0, 0, 0, 0, 15, 15, 15, 15}, false},
		{"a step in the middle of a block", [...]float32{0, 0, 0, 7, 15, 15, 15, 15}, false},
		{"two steps", [...]float32{0, 0, 7, 7, 7, 7, 15, 15}, false},
		{"what settles after work", [...]float32{0, 0, 0, 20, 18, 16, 15, 14}, false},
		{"a warm day beside one lead", [...]float32{0, 4, 9, 3, 1, 5, 10, 4}, false},
		{"heat that lasts", [...]float32{0, 4, 8, 12, 15, 15, 15, 15}, false},
		{"a fall within", [...]float32{0, 3, 6, 9, 6, 10, 13, 16}, false},
		{"growth upon what stood before", [...]float32{33, 34, 35, 36, 37, 38, 39, 40}, false},
		{"too little to hurry", [...]float32{0, 0.7, 1.4, 2.1, 2.8, 3.5, 4.2, 4.9}, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := &e.s.Ch[0]
		c.UN = recent
		for i, u := range tt.u {
			c.U[recent-climbBlocks+i] = u / 1000
		}
		var p picture
		p.limit[0], p.quick[0], p.newest[0] = 0.003, c.level(3), float64(c.U[recent-1])
		if got := e.climbing(0, &p); got != tt.climb {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.climb)
		}
		c.UN = climbBlocks - 1
		if e.climbing(0, &p) {
			t.Errorf("%s: told of less than two days", tt.name)
		}
	}
}

// A contact that leaves the limit within a week is told on its second day, as what
// it is and not as a step that stays.
func TestWhatClimbsIsToldWithinTwoDays(t *testing.T) {
	for _, r := range []wiring.Reports{wiring.AllLeads, wiring.PairsOnly} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, r))
		c := newCable(7)
		c.fault = growth(measure.B1, 40, 0.03)
		b := bad(c.feed(e, 0, 44*perDay))
		if len(b) == 0 || b[0].Kind != finding.LeadDrift || b[0].Leads != finding.LeadsOf(measure.B1) || !strings.Contains(b[0].Evidence, "climbed for two days") {
			t.Fatalf("%s: found %v, want a drift of b1 that climbs", r, printed(b))
		}
		if d := on(b[0].Time); d < 41 || d > 42.01 {
			t.Errorf("%s: told on day %.2f, want it on the second day", r, d)
		}
	}
}

// Heat beside one lead that lasts for most of a day and comes again is no contact: the
// median of two days stays where it was.
func TestDaysOfHeatBesideOneLead(t *testing.T) {
	for _, r := range []wiring.Reports{wiring.AllLeads, wiring.PairsOnly} {
		for every := 1.75; every < 3.2; every += 0.25 {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, r))
			c := newCable(9)
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				for from := 50.0; from < 60; from += every {
					v[measure.B2] += 0.3 * min(max(0, d-from)/0.05, 1, max(0, from+0.7-d)/0.05)
				}
			}
			if b := bad(c.feed(e, 0, 60*perDay)); len(b) > 0 {
				t.Errorf("%s, every %g days: %v", r, every, printed(b))
			}
		}
	}
}
