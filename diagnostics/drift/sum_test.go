package drift

import (
	"math"
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// oneSum runs a loop that reports b1 + b2 alone for 100 days beside neighbours
// that follow the day and the season by ±8 K each; its own cable follows the
// season by the given multiple of that. contact is what the sum has beyond it.
func oneSum(t *testing.T, season float64, contact func(d float64) float64) []finding.Finding {
	t.Helper()
	return sumBeside(t, season, contact, func(day, year float64, s *measure.Sample) *Neighbour {
		return &Neighbour{Loops: 2, Factor: 1 + day + year}
	})
}

// sumBeside runs a sum for 100 days; hint says what others know of the copper, which
// moves by day and year, as shares.
func sumBeside(t *testing.T, season float64, contact func(d float64) float64, hint func(day, year float64, s *measure.Sample) *Neighbour) []finding.Finding {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
	c := newCable(31)
	var out []finding.Finding
	for i := range 100 * perDay {
		d := float64(i) / perDay
		day, year := 0.03*math.Sin(2*math.Pi*(d-0.4)), 0.03*math.Sin(2*math.Pi*d/365.25)
		s := c.at(e.m.spec, i)
		s.LoopB += quantity.Ohm(contact(d) + 1.001*season*year)
		out = e.Step(&s, hint(day, year, &s), out)
	}
	return counted(out)
}

// terminals is the temperature of a transmitter that goes with shares of the day
// and the year of the copper, 0.393 % a kelvin (IEC 60028), rounded to 0.1 °C.
func terminals(withDay, withYear float64) func(day, year float64, s *measure.Sample) *Neighbour {
	return func(day, year float64, s *measure.Sample) *Neighbour {
		t := 25 + (withDay*day+withYear*year)/0.00393
		s.DeviceTemp = quantity.DegC(math.Round(t*10) / 10)
		return nil
	}
}

// Without neighbours the temperature of the transmitter tells the copper, if it
// went with it in the baseline.
func TestSumIsHeldAgainstItsTransmitter(t *testing.T) {
	grows := func(d float64) float64 { return 0.002 * max(0, d-50) }
	none := func(float64) float64 { return 0 }
	out := sumBeside(t, 1, grows, terminals(1, 1))
	if len(out) == 0 || out[0].Kind != finding.LeadDrift || out[0].Leads != 0 {
		t.Fatalf("a contact of 100 mΩ in a sum of 1 Ω: %v, want lead-drift and no lead", printed(out))
	}
	if out := sumBeside(t, 1, grows, terminals(0, 0)); len(out) != 0 {
		t.Errorf("a transmitter in a cooled cabinet knows nothing of the cable, and yet: %s", out[0].Evidence)
	}
	if out := sumBeside(t, 1, grows, func(_, _ float64, _ *measure.Sample) *Neighbour { return nil }); len(out) != 0 {
		t.Errorf("nobody tells the temperature, and yet: %s", out[0].Evidence)
	}
	for _, with := range [][2]float64{{1, 1}, {0.3, 0.3}, {0, 0}, {1, 0}, {0, 1}, {2, 2}} {
		for _, season := range []float64{0, 1, 2} {
			if out := sumBeside(t, season, none, terminals(with[0], with[1])); len(out) != 0 {
				t.Errorf("sound, transmitter with %g of the day and %g of the year, cable with %g of the year: %s", with[0], with[1], season, out[0].Evidence)
			}
		}
	}
}

// Neighbours that come to be heard within two days are preferred; later the
// baseline stays on the transmitter.
func TestNeighboursArePreferred(t *testing.T) {
	for _, heardFrom := range []int{1, 20} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
		c := newCable(31)
		for i := range 25 * perDay {
			s, nb := c.at(e.m.spec, i), &Neighbour{}
			s.DeviceTemp = 25
			if i >= heardFrom*perDay {
				nb = &Neighbour{Loops: 3, Factor: copperOn(float64(i) / perDay)}
			}
			e.Step(&s, nb, nil)
		}
		if got, want := e.s.Copper.ByDevice, heardFrom > 2; got != want {
			t.Errorf("neighbours heard from day %d: by the transmitter %t, want %t", heardFrom, got, want)
		}
	}
}

// Of a single sum the neighbours tell the copper, so a contact of a few percent
// of it is seen, with no lead named: here a tenth of 1 Ω, when spring has come;
// what spring does to a cable alone in the sun must not be taken for one.
func TestSumIsHeldAgainstItsNeighbours(t *testing.T) {
	out := oneSum(t, 1, func(d float64) float64 { return 0.002 * max(0, d-50) })
	if len(out) == 0 {
		t.Fatal("a contact of 100 mΩ in a sum of 1 Ω is not seen")
	}
	if f := out[0]; f.Kind != finding.LeadDrift || f.Leads != 0 || float64(f.Contact) > 0.12 {
		t.Errorf("%s %v at %s: want lead-drift of less than 120 mΩ, no lead named", f.Kind, f.Leads.Names(), ohms(float64(f.Contact)))
	}
	for _, season := range []float64{0, 1, 2.3} {
		if out := oneSum(t, season, func(float64) float64 { return 0 }); len(out) != 0 {
			t.Errorf("a sound cable that follows the season %g times as much: %s", season, out[0].Evidence)
		}
	}
	if out := oneSum(t, 1, func(d float64) float64 { return 0.0002 * max(0, d-50) }); len(out) != 0 {
		t.Errorf("10 mΩ in a sum of 1 Ω are 2.5 K of copper, and yet: %s", out[0].Evidence)
	}
}

// A sum that lost half of itself at once has a jumper beside one of its leads, or is
// another cable: somebody must look. What only a cable can be is a note.
func TestASumThatIsHalved(t *testing.T) {
	for _, tt := range []struct {
		b1, b2   float64 // what is left of the leads
		severity finding.Severity
		said     string
	}{
		{1, 0.01, finding.Maintenance, "the sum b1 + b2 fell by 5"},
		{0.02, 1, finding.Maintenance, "look for a jumper"},
		{0.6, 0.6, finding.Info, "another cable length"},
		{0.4, 0.4, finding.Info, "another cable length"},
		{1.5, 1.5, finding.Info, "another cable length"},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
		c := newCable(31)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40.4 {
				v[measure.B1], v[measure.B2] = v[measure.B1]*tt.b1, v[measure.B2]*tt.b2
			}
		}
		var out []finding.Finding
		for i := range 60 * perDay {
			s := c.at(e.m.spec, i)
			out = e.Step(&s, &Neighbour{Loops: 3, Factor: copperOn(float64(i) / perDay)}, out)
		}
		if len(out) != 2 || out[0].Kind != finding.CableChanged || out[0].Severity != tt.severity || !strings.Contains(out[0].Evidence, tt.said) || out[1].State != finding.Cleared {
			t.Errorf("%g and %g left: want cable-changed, %v, %q, cleared: %v", tt.b1, tt.b2, tt.severity, tt.said, printed(out))
		}
	}
}

// A buried cable hardly knows the day and a cooled cabinet neither day nor season:
// the transmitter tells nothing of it, whatever the season does to the sum.
func TestBuriedCableAndCooledCabinet(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
	c := newCable(31)
	var out []finding.Finding
	for i := range 150 * perDay {
		d := float64(i) / perDay
		s := c.at(e.m.spec, i)
		s.LoopB += quantity.Ohm(1.001 * (1.01 - copperOn(d) + 0.08*math.Sin(2*math.Pi*(d-60)/365.25))) // 20 K of season alone
		s.DeviceTemp = quantity.DegC(math.Round(250+math.Sin(2*math.Pi*d)) / 10)                       // 25 °C by a tenth
		out = e.Step(&s, nil, out)
	}
	if b := counted(out); len(b) != 0 {
		t.Errorf("day %.1f: %s", b[0].Time.Sub(testStart).Hours()/24, b[0].Evidence)
	}
}

// What the neighbours' copper does for one poll, an input with coarse steps on short
// leads say, is no excursion of the sum: that shows in its own value, and is found.
func TestANeighbourThatFlickersIsNoExcursion(t *testing.T) {
	flicks := func(i int) float64 {
		if i > 40*perDay && i%43 == 5 { // three a day
			return 0.03
		}
		return 0
	}
	for _, tt := range []struct {
		name     string
		own, his float64 // share of the 3 % of the sum
		found    bool
	}{{"his alone", 0, -1, false}, {"its own", 1, 0, true}, {"both are the cable's", 1, 1, false}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly))
		c := newCable(31)
		var out []finding.Finding
		for i := range 80 * perDay {
			s := c.at(e.m.spec, i)
			s.LoopB += quantity.Ohm(1.001 * tt.own * flicks(i))
			out = e.Step(&s, &Neighbour{Loops: 2, Factor: copperOn(float64(i)/perDay) + tt.his*flicks(i)}, out)
		}
		out = counted(out)
		if got := len(out) > 0; got != tt.found || got && out[0].Kind != finding.LeadIntermittent {
			t.Errorf("%s: %v", tt.name, printed(out))
		}
	}
}

// Less than a gate is no move of the reference: the sample stays calm, and what the sum
// was is known from it.
func TestReferenceMoved(t *testing.T) {
	sum, pair := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.LoopsOnly)), mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.PairsOnly))
	sum.s.Copper.Sum, pair.s.Copper.Sum = 2, 2
	for _, tt := range []struct {
		name    string
		e       *Engine
		v, d    float64
		because bool
	}{
		{"the sum stays", sum, 2, 0.05, true},
		{"the sum stays, down", sum, 2, -0.05, true},
		{"less than a gate", sum, 2, 0.015, false},
		{"the sum goes with it", sum, 2.05, 0.05, false},
		{"the sum goes half way", sum, 2.026, 0.05, false},
		{"no sum", pair, 2, 0.05, false},
	} {
		if got := tt.e.referenceMoved(tt.v, tt.d, 0.02); got != tt.because {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}
