package drift

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// hiddenWays are loops with a lead that moves the reading and is not reported.
var hiddenWays = []struct {
	name string
	way  way
	lead measure.Lead // that is not reported
	sent bool         // a resistance is sent, not the temperature alone
}{
	{"pairs", way{wiring.ThreeWireHalf, wiring.PairsOnly}, measure.A1, true},
	{"sum of two", way{wiring.ThreeWireDual, wiring.LoopsOnly}, measure.A1, true},
	{"reading", way{wiring.TwoWire, wiring.ReadingOnly}, measure.B1, true},
	{"reading that falls", way{wiring.ThreeWireLoop, wiring.ReadingOnly}, measure.B2, true},
	{"temperature alone", way{wiring.TwoWire, wiring.ReadingOnly}, measure.A1, false},
}

// process feeds an engine with samples whose process does something of its own,
// in Ω of the element by poll.
func process(e *Engine, c *cable, days int, sent bool, more func(i int) float64) []finding.Finding {
	var out []finding.Finding
	for i := range days * perDay {
		s := c.at(e.m.spec, i)
		s.Sensor += quantity.Ohm(more(i))
		s.Reading = quantity.DegC(math.Round(float64(e.m.spec.Sensor.Inverse(s.Sensor, 0))*100) / 100)
		if !sent {
			s.Sensor = quantity.Ohm(nan)
		}
		out = e.Step(&s, nil, out)
	}
	return counted(out)
}

func still(int) float64 { return 0 }

// A contact that opens for seconds is in one poll of a hundred.
func TestExcursionsOfALeadThatIsNotReported(t *testing.T) {
	for _, w := range hiddenWays {
		t.Run(w.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", w.way.method, w.way.reports))
			c := newCable(11)
			c.fault = func(d float64, v *[measure.LeadCount]float64) {
				if r := rand.New(rand.NewPCG(5, uint64(math.Round(d*perDay)))); d > 50 && r.IntN(100) == 0 {
					v[w.lead] += 0.3
				}
			}
			out := process(e, &c, 60, w.sent, still)
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			for _, f := range out {
				if f.Kind != finding.LeadIntermittent || f.Leads != 0 {
					t.Fatalf("%s %v: %s", f.Kind, f.Leads.Names(), f.Evidence)
				}
			}
			if f := out[0]; f.Since.Before(testStart.AddDate(0, 0, 50)) || math.Abs(float64(f.Contact)-0.3) > 0.05 {
				t.Errorf("since %v, contact %v; want after day 50, 0.3 Ω", f.Since, f.Contact)
			}
		})
	}
}

// What a process does, and what people do to a loop, is no contact.
func TestProcessIsNoContact(t *testing.T) {
	at := func(i int, days float64) bool { return float64(i) > days*perDay }
	tests := []struct {
		name string
		more func(i int) float64
	}{
		{"flushed once a day, in the baseline as well", func(i int) float64 {
			if i%perDay == 60 {
				return 0.5
			}
			return 0
		}},
		{"half an hour of heat", func(i int) float64 {
			if at(i, 50) && i%50 < 3 {
				return 0.5
			}
			return 0
		}},
		{"a ramp up and down", func(i int) float64 {
			if at(i, 50) {
				return math.Abs(float64(i%12)-6) * 0.2
			}
			return 0
		}},
		{"checked with a calibrator", func(i int) float64 {
			if k := i - 52*perDay; k > 0 && k < 40 {
				if k%5 == 0 {
					return 5
				}
			}
			return 0
		}},
		{"storms to both sides", func(i int) float64 {
			r := rand.New(rand.NewPCG(3, uint64(i)))
			if at(i, 50) && i%perDay < 30 {
				return 0.1 * r.NormFloat64()
			}
			return 0
		}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			for _, w := range hiddenWays {
				e := mustEngine(t, testSpec(t, "TT-1", w.way.method, w.way.reports))
				c := newCable(12)
				if out := process(e, &c, 75, w.sent, test.more); len(out) != 0 {
					t.Errorf("%s: %s on %v: %s", w.name, out[0].Kind, out[0].Time, out[0].Evidence)
				}
			}
		})
	}
}

// A poll that is wrong as a whole, or comes from another register, is no contact:
// a lead that is reported falls as well, as none can, or is missing, or the
// resistance is missing and the temperature beside it is scaled otherwise.
func TestWrongPollsAreNoContact(t *testing.T) {
	for _, test := range []struct {
		name  string
		way   way
		spoil func(*measure.Sample)
	}{
		{"a lead as well", hiddenWays[0].way, func(s *measure.Sample) { s.Leads[measure.B1], s.Sensor = s.Leads[measure.B1]-0.2, s.Sensor+0.5 }},
		{"a lead is missing", hiddenWays[0].way, func(s *measure.Sample) { s.Leads[measure.B1], s.Sensor = quantity.Ohm(nan), s.Sensor+0.5 }},
		{"no resistance", hiddenWays[2].way, func(s *measure.Sample) { s.Sensor, s.Reading = quantity.Ohm(nan), s.Reading+1 }},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", test.way.method, test.way.reports))
		c := newCable(14)
		var out []finding.Finding
		for i := range 75 * perDay {
			s := c.at(e.m.spec, i)
			if i > 50*perDay && i%97 == 0 {
				test.spoil(&s)
			}
			out = e.Step(&s, nil, out)
		}
		if out = counted(out); len(out) != 0 {
			t.Errorf("%s: %s on %v: %s", test.name, out[0].Kind, out[0].Time, out[0].Evidence)
		}
	}
}

// An excursion that a reported lead makes as well is that lead's.
func TestExcursionsOfAReportedLeadNameIt(t *testing.T) {
	for _, r := range []wiring.Reports{wiring.PairsOnly, wiring.AllLeads} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, r))
		c := newCable(13)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 50 && int(math.Round(d*perDay))%71 == 0 {
				v[measure.B1] += 0.6
			}
		}
		out := process(e, &c, 70, true, still)
		if len(out) == 0 {
			t.Fatalf("%s: nothing found", r)
		}
		for _, f := range out {
			if f.Leads != finding.LeadsOf(measure.B1) {
				t.Fatalf("%s: %s %v: %s", r, f.Kind, f.Leads.Names(), f.Evidence)
			}
		}
	}
}
