package drift

import (
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Where no lead is reported by itself, a broken sensor may leave nothing but
// empty telegrams. One or two are lost ones; a night of them is an open circuit,
// of a loop that had values before.
func TestEmptyTelegramsOfALoopThatReportsNoLead(t *testing.T) {
	tests := []struct {
		name       string
		way        way
		from, to   int // polls without a value
		every      int // of them this one has a value, 0 = none
		found      bool
		afterPolls int
	}{
		{"reading", way{wiring.TwoWire, wiring.ReadingOnly}, 3 * perDay, 4 * perDay, 0, true, 37},
		{"one sum", way{wiring.ThreeWireDual, wiring.LoopsOnly}, 3 * perDay, 4 * perDay, 0, true, 37},
		{"two sums still tell the sides apart", way{wiring.FourWire, wiring.LoopsOnly}, 3 * perDay, 4 * perDay, 0, false, 0},
		{"every lead", way{wiring.ThreeWireDual, wiring.AllLeads}, 3 * perDay, 4 * perDay, 0, false, 0},
		{"four hours", way{wiring.TwoWire, wiring.ReadingOnly}, 3 * perDay, 3*perDay + 24, 0, false, 0},
		{"most of a day is lost", way{wiring.TwoWire, wiring.ReadingOnly}, 3 * perDay, 4 * perDay, 20, false, 0},
		{"never a value", way{wiring.TwoWire, wiring.ReadingOnly}, 0, 4 * perDay, 0, false, 0},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", test.way.method, test.way.reports))
			c := newCable(21)
			var out []finding.Finding
			at := 0
			for i := range 5 * perDay {
				s := c.at(e.m.spec, i)
				if i >= test.from && i < test.to && (test.every == 0 || i%test.every != 0) {
					s = measure.Empty(s.At, measure.Good)
				}
				if out = e.Step(&s, nil, out); len(out) > 0 && at == 0 {
					at = i - test.from + 1
				}
			}
			if !test.found {
				if len(out) != 0 {
					t.Fatalf("%s: %s", out[0].Kind, out[0].Evidence)
				}
				return
			}
			if len(out) < 2 || out[0].Kind != finding.LeadOpen || out[0].Leads != 0 || out[len(out)-1].State != finding.Cleared {
				t.Fatalf("%d findings; want lead-open without a lead, cleared in the end", len(out))
			}
			if at != test.afterPolls {
				t.Errorf("called after %d polls, want %d: six hours", at, test.afterPolls)
			}
		})
	}
}

// An input that goes on without a lead: the circuit is closed again an hour after
// the lead has a value, every time, and not by good values of weeks before or
// between two spells.
func TestAMuteLeadIsClosedWhenItHasAValue(t *testing.T) {
	const hour = perDay / 24
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireLoop, wiring.PairsOnly))
	c := newCable(21)
	mute := [][2]int{{3 * perDay, 3*perDay + 10*hour}, {30 * perDay, 30*perDay + 8*hour}, {30*perDay + 9*hour - 2, 30*perDay + 14*hour}}
	back := []int{3*perDay + 10*hour, 30*perDay + 14*hour}
	var closed []finding.Finding
	for i := range 33 * perDay {
		s := c.at(e.m.spec, i)
		for _, m := range mute {
			if i >= m[0] && i < m[1] {
				s.Leads[measure.B2] = quantity.Ohm(nan)
			}
		}
		for _, f := range e.Step(&s, nil, nil) {
			if f.State == finding.Cleared {
				closed = append(closed, f)
			}
		}
	}
	if len(closed) != len(back) {
		t.Fatalf("closed %d times, want %d", len(closed), len(back))
	}
	for i, f := range closed {
		since := testStart.Add(time.Duration(back[i]) * c.step)
		if after := f.Time.Sub(since); after < time.Hour || after > 2*time.Hour {
			t.Errorf("closed %v after the lead had a value, want an hour", after)
		}
		if !strings.Contains(f.Evidence, clock(since.Unix())) {
			t.Errorf("%q, want since %s", f.Evidence, clock(since.Unix()))
		}
	}
}
