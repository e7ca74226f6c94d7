package drift

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// bounce opens lead b1 by some Ω in the poll nearest to each of some days.
func bounce(ohm float64, days ...float64) func(float64, *[measure.LeadCount]float64) {
	return bounceOf(measure.B1, ohm, days...)
}

func bounceOf(l measure.Lead, ohm float64, days ...float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		for _, x := range days {
			if math.Abs(d-x) < 0.5/perDay {
				v[l] += ohm
			}
		}
	}
}

// TestFewExcursions: how many excursions make a contact depends on what the
// sensor value says of them, on when they came and on how the loop's bus is.
func TestFewExcursions(t *testing.T) {
	const hour = 1.0 / 24
	tests := []struct {
		name   string
		method wiring.Method
		shown  bool // the sensor value moves with the lead
		ohm    float64
		days   []float64
		found  int     // excursions until it is called; 0 = not at all
		sooner float64 // not before so many days after the last of them
		later  float64 // at most so many days after it
	}{
		{"one that the sensor value shows, when an hour has passed", wiring.ThreeWireDual, true, 0.3, []float64{40.3}, 1, 0.9 * hour, 1.5 * hour},
		{"one as small as noise could be", wiring.ThreeWireDual, true, 0.015, []float64{40.3}, 0, 0, 0},
		{"one that only the register shows", wiring.ThreeWireDual, false, 0.3, []float64{40.3}, 0, 0, 0},
		{"two small ones on two days", wiring.ThreeWireDual, true, 0.015, []float64{40.3, 44.7}, 2, 0, hour / 2},
		{"two in one hour are one visit", wiring.ThreeWireDual, true, 0.3, []float64{40.3, 40.32}, 0, 0, 0},
		{"two in one hour are one visit, one a day later is another", wiring.ThreeWireDual, true, 0.3, []float64{40.3, 40.32, 41.3}, 3, 0, 1.5 * hour},
		{"two that only the register shows", wiring.ThreeWireDual, false, 0.3, []float64{40.3, 44.7}, 0, 0, 0},
		{"one where the method hides it", wiring.FourWire, true, 0.3, []float64{40.3}, 0, 0, 0},
		{"two where the method hides them, when the block ends", wiring.FourWire, true, 0.3, []float64{40.3, 44.7}, 2, 0.5 * hour, 0.25},
		{"two where the method hides them, within an hour", wiring.FourWire, true, 0.3, []float64{40.3, 40.32}, 0, 0, 0},
		{"two where the method hides them, in a month", wiring.FourWire, true, 0.3, []float64{40.3, 66.1}, 0, 0, 0},
		{"three of a size that digits have", wiring.FourWire, true, 12, []float64{40.3, 44.7, 50.1}, 0, 0, 0},
		{"four of that size, when the block ends", wiring.FourWire, true, 12, []float64{40.3, 44.7, 50.1, 60}, 4, 0.5 * hour, 0.26},
		{"five in two hours are one visit", wiring.FourWire, true, 0.05, []float64{40.3, 40.32, 40.34, 40.36, 40.38}, 0, 0, 0},
		{"two small ones two months apart", wiring.ThreeWireDual, true, 0.015, []float64{40.3, 100.7}, 0, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", tt.method, wiring.AllLeads))
			c := newCable(5)
			still := c
			c.fault = bounce(tt.ohm, tt.days...)
			var out []finding.Finding
			for i := range int((tt.days[len(tt.days)-1] + 3) * perDay) {
				s := c.at(e.m.spec, i)
				if !tt.shown {
					s.Sensor = still.at(e.m.spec, i).Sensor
				}
				out = e.Step(&s, nil, out)
			}
			out = counted(out)
			if tt.found == 0 {
				if len(out) > 0 {
					t.Fatalf("%s at day %.2f: %s", out[0].Kind, out[0].Time.Sub(testStart).Hours()/24, out[0].Evidence)
				}
				return
			}
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			f, d := out[0], out[0].Time.Sub(testStart).Hours()/24
			if f.Kind != finding.LeadIntermittent || f.Leads != finding.LeadsOf(measure.B1) {
				t.Errorf("got %s %v: %s", f.Kind, f.Leads.Names(), f.Evidence)
			}
			if x := tt.days[tt.found-1]; d < x-0.01+tt.sooner || d > x+tt.later {
				t.Errorf("found on day %.2f, want %.2f to %.2f days after the excursion on day %.2f", d, tt.sooner, tt.later, x)
			}
		})
	}
}

// One excursion that the sensor value shows is enough where the lead has slowly
// risen before, by less than a finding takes; where it came there at once, or where
// the sensor value does not show it, it is not.
func TestOneExcursionOfALeadThatRose(t *testing.T) {
	for _, tt := range []struct {
		name  string
		rise  func(d float64) float64 // Ω
		shown bool
		found bool
	}{
		{"slowly", func(d float64) float64 { return 0.0016 * min(max(0, d-30)/8, 1) }, true, true},
		{"slowly, only the register shows it", func(d float64) float64 { return 0.0016 * min(max(0, d-30)/8, 1) }, false, false},
		{"not at all", func(float64) float64 { return 0 }, true, false},
		{"at once", func(d float64) float64 {
			if d < 38 {
				return 0
			}
			return 0.0016
		}, true, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(5)
		rise := func(d float64, v *[measure.LeadCount]float64) { v[measure.B1] += tt.rise(d) }
		c.fault = rise
		still := c
		open := bounce(0.015, 44.3) // more would be enough by itself
		c.fault = func(d float64, v *[measure.LeadCount]float64) { rise(d, v); open(d, v) }
		var out []finding.Finding
		for i := range 45 * perDay {
			s := c.at(e.m.spec, i)
			if !tt.shown {
				s.Sensor = still.at(e.m.spec, i).Sensor
			}
			out = e.Step(&s, nil, out)
		}
		out = counted(out)
		if got := len(out) > 0; got != tt.found {
			t.Errorf("%s: found %v, want %v", tt.name, printed(out), tt.found)
		}
		if tt.found && len(out) > 0 && (on(out[0].Time) < 44.3 || on(out[0].Time) > 44.33 || out[0].Kind != finding.LeadIntermittent || out[0].Leads != finding.LeadsOf(measure.B1)) {
			t.Errorf("%s: %v", tt.name, printed(out))
		}
	}
}

// TestExcursionsOnABadBus: where bad values are common, as many excursions as
// would make a contact on a good bus make none.
func TestExcursionsOnABadBus(t *testing.T) {
	for _, tt := range []struct {
		every int // polls between obviously bad values
		found bool
	}{{0, true}, {60, false}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
		c := newCable(6)
		c.fault = bounce(0.2, 40.3, 42.2, 44.7)
		var out []finding.Finding
		for i := range 50 * perDay {
			s := c.at(e.m.spec, i)
			if tt.every > 0 && i%tt.every == 7 {
				s.Leads[i/tt.every%4] = 0
			}
			out = e.Step(&s, nil, out)
		}
		if got := len(counted(out)) > 0; got != tt.found {
			t.Errorf("a bad value every %d polls: found %v, want %v", tt.every, got, tt.found)
		}
	}
}

// TestProof compares with likelihood ratios of Student's t with three degrees of
// freedom, worked out by hand: 2·ln((3v + out²)/(3v + (out − want)²)) with
// v = 0.75·σ² + (want/10)² + (0.3·back/2)², and where that is over 2 the logarithm of half of one and
// of the ratio of the densities with want/100 and want/10 in v, v^1.5/(3v + (out − want)²)².
func TestProof(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	e.s.Step, e.s.Last = 600, 1e9
	e.s.Sensor = sensorState{Value: 120, Sigma: 0.02, Known: true}
	nan := math.NaN()
	for _, tt := range []struct {
		name            string
		want, out, back float64 // Ω from the value before
		proof           float64
	}{
		{"as it should", 0.08, 0.08, 0, 3.8516 + 0.0490},
		{"not at all", 0.08, 0, 0, -2 * math.Log(1+0.0064/(3*(0.0003+0.000064)))},
		{"half", 0.08, 0.04, 0, 0},
		{"what the process did meanwhile is taken off", 0.08, 0.10, 0.04, 3.6917 + 0.0440},
		{"in the middle of a ramp, which may bend", 0.08, 8.08, 16, 0.0007},
		{"a process step", 0.08, 20, 0, 0.0160},
		{"large and right", 5, 5.1, 0, proofMost + 0.4132},
		{"large and right to the last digit", 5, 5.002, 0, proofMost + 1.6531},
		{"large and about right", 5, 4.2, 0, proofMost - 0.6877},
		{"large and missing", 5, 0.1, 0, -proofMost},
		{"no sensor value", 0.08, nan, 0, 0},
		{"none afterwards", 0.08, 0.08, nan, 3.8516 + 0.0490},
		{"the method takes it out", 0, 0.02, 0, 0},
	} {
		e.s.Ch[0].Spike = spikeState{Run: 1, Start: 1e9 - 600, Want: float32(tt.want), Out: float32(tt.out)}
		if got := e.proof(0, 120+tt.back); math.Abs(got-tt.proof) > 0.002 {
			t.Errorf("%s: %.4f, want %.4f", tt.name, got, tt.proof)
		}
	}
	e.s.Ch[0].Spike.Split = true
	if got := e.proof(0, 120); got != -proofMost {
		t.Errorf("registers that part: %.4f", got)
	}
}

// TestOddsFade: without new excursions the odds of a contact are gone within
// four weeks, and a finding about it with them.
func TestOddsFade(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(8)
	c.fault = bounce(0.3, 40.3, 44.7)
	if out := counted(c.feed(e, 0, 46*perDay)); len(out) == 0 {
		t.Fatal("nothing found to begin with")
	}
	out := c.feed(e, 46*perDay, 76*perDay)
	if len(e.Open(nil)) > 0 {
		t.Errorf("stands after four weeks: %s", out[len(out)-1].Evidence)
	}
}

// A hand that moves the leads one after the other opens none of them plainly, and
// neither does what moves a lead by another amount than the sensor value shows.
func TestOnceMustBeAlone(t *testing.T) {
	one := bounce(0.3, 40.3)
	for _, tt := range []struct {
		name  string
		also  func(d float64, v *[measure.LeadCount]float64)
		found bool
	}{
		{"alone", func(float64, *[measure.LeadCount]float64) {}, true},
		{"another lead an hour and a half later", bounceOf(measure.B2, 0.3, 40.37), true},
		{"another lead half an hour before", bounceOf(measure.B2, 0.3, 40.28), false},
		{"another lead half an hour later", bounceOf(measure.B2, 0.3, 40.32), false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) { one(d, v); tt.also(d, v) }
		out := counted(c.feed(e, 0, 41*perDay))
		if got := len(out) > 0; got != tt.found {
			t.Errorf("%s: %v, want a finding %v", tt.name, printed(out), tt.found)
		}
	}
}

// What opened once is told for ten days, less surely than what opened twice, and with
// a forecast as wide as one event leaves it.
func TestOnceIsToldForTenDays(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	c.fault = bounce(0.3, 40.3)
	out := counted(c.feed(e, 0, 41*perDay))
	if len(out) == 0 {
		t.Fatal("nothing found")
	}
	f := out[0]
	if f.Confidence > 0.7 || !strings.Contains(f.Evidence, "rose by 301 mΩ at 2026-04-11 07:20Z and came back") {
		t.Errorf("%.2f sure: %s", f.Confidence, f.Evidence)
	}
	days := func(t time.Time) float64 { return t.Sub(f.Time).Hours() / 24 }
	if c := f.Forecast; c == nil || c.State != finding.Dated || days(c.P10) > 5 || days(c.P50) < 10 || days(c.P90) < 100 {
		t.Errorf("forecast %v", f.Forecast)
	}
	c.feed(e, 41*perDay, 50*perDay)
	if open := e.Open(nil); len(open) != 1 || open[0].Kind != finding.LeadIntermittent {
		t.Errorf("nine days later: %v", printed(open))
	}
	c.feed(e, 50*perDay, 55*perDay)
	if open := e.Open(nil); len(open) != 0 {
		t.Errorf("two weeks later: %v", printed(open))
	}
}

// afterFirst against the same by hand: of rates from 0.02 to 0.9 a day, all alike, the
// middle one is 0.14, and ln(7.2/0.14)/0.14 is 28.1 days. What may open any day comes
// sooner.
func TestAfterTheFirst(t *testing.T) {
	p10, p50, p90 := afterFirst(7.2, 0, nil)
	if math.Abs(float64(p50)-28.1) > 3 || p10 < 1 || p10 > 5 || p90 < 100 || p90 > 300 {
		t.Errorf("%.1f, %.1f, %.1f days", p10, p50, p90)
	}
	if q10, q50, _ := afterFirst(7.2, 1, nil); q10 > 1 || q50 > p50 || q50 < 10 {
		t.Errorf("wide open: %.1f, %.1f days", q10, q50)
	}
}

// Two leads that move together in one poll are a bad telegram: of two the lower one is
// taken for copper, and the other seems to rise.
func TestPairsThatMoveTogether(t *testing.T) {
	for _, tt := range []struct {
		name   string
		b1, b2 float64 // Ω
		found  bool
	}{
		{"one lead", 0.2, 0, true},
		{"one lead while the copper warms", 0.2, 0.007, true},
		{"both up", 0.2, 0.12, false},
		{"both down", -0.1, -0.3, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.PairsOnly))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			for _, x := range []float64{40.3, 41.1, 42.4, 43.2, 44.7, 46.1, 47.3} {
				if math.Abs(d-x) < 0.5/perDay {
					v[measure.B1] += tt.b1
					v[measure.B2] += tt.b2
				}
			}
		}
		out := counted(c.feed(e, 0, 50*perDay))
		if got := len(out) > 0; got != tt.found {
			t.Errorf("%s: %v, want a finding %v", tt.name, printed(out), tt.found)
		}
	}
}

// What speaks for a single excursion is asked together: the odds, the sensor value, and
// three values in which a bad telegram would show.
func TestWhatSpeaksForOne(t *testing.T) {
	all := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	pair := mustEngine(t, testSpec(t, "TT-2", wiring.ThreeWireDual, wiring.PairsOnly))
	for _, e := range []*Engine{all, pair} {
		e.s.Last = 1e9
		e.s.Ch[0].Spike.Peak = 0.3
	}
	for _, tt := range []struct {
		name           string
		e              *Engine
		x, proof, gate float64
		want           bool
	}{
		{"all", all, plainOdds, spikeProof, 0.07, true},
		{"odds that bad values have", all, plainOdds - 0.1, spikeProof, 0.07, false},
		{"the sensor value says little", all, plainOdds, spikeProof - 0.1, 0.07, false},
		{"too small", all, plainOdds, spikeProof, 0.08, false},
		{"of a pair", pair, plainOdds, spikeProof, 0.07, false},
	} {
		if got := tt.e.plain(0, tt.x, tt.proof, tt.gate); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}

// A second occasion, however small, takes nothing from the first.
func TestASecondTakesNothingFromTheFirst(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	one, small := bounce(0.3, 40.3), bounce(0.015, 40.36, 40.6)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { one(d, v); small(d, v) }
	c.feed(e, 0, 45*perDay)
	if p := &e.s.Ch[1].Spike; !p.Plain || e.onceOnly(1) {
		t.Errorf("plain %v, by that alone %v, odds %s", p.Plain, e.onceOnly(1), p.odds())
	}
	if open := e.Open(nil); len(open) != 1 || open[0].Confidence < 0.8 {
		t.Errorf("%v: want one finding, as sure as two occasions are", printed(open))
	}
}

// What spoke for a contact months ago speaks for nothing that comes now.
func TestPlainIsForgotten(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	one, small := bounce(0.3, 40.3), bounce(0.015, 100.3)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { one(d, v); small(d, v) }
	c.feed(e, 0, 60*perDay)
	if e.s.Ch[1].Spike.Plain {
		t.Error("three weeks later it is still plain")
	}
	if out := counted(c.feed(e, 60*perDay, 102*perDay)); len(out) > 0 {
		t.Errorf("a small one two months later: %v", printed(out))
	}
}

// A forecast of any day now says nothing new the day after.
func TestAnyDayIsToldOnce(t *testing.T) {
	r := record{Outlook: outlook{State: outlookDated, P10: soonest, P50: 2 * horizon, P90: 2 * horizon, At: 0}, Contact: 0.1}
	o := r.Outlook
	o.At = 2 * dayS
	c := claim{contact: 0.1}
	if r.moved(&c, &o) {
		t.Error("any day as it was two days ago, and told again")
	}
	if o.P10 = 5; !r.moved(&c, &o) {
		t.Error("five days instead of any day, and not told")
	}
}
