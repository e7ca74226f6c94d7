package drift

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// testStart is a Monday; blocks and days begin with it.
var testStart = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// testSpec returns a Pt100 with a limit of ±0.5 °C, never calibrated.
func testSpec(t testing.TB, tag string, m wiring.Method, r wiring.Reports) *diagnostics.Spec {
	t.Helper()
	pt100, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	s := diagnostics.NewSpec(tag)
	s.Site, s.Area, s.Sensor, s.Method, s.Reports = "larkfield", "fermentation", pt100, m, r
	s.Wires = max(m.Wires(), 2)
	s.LimitHigh, s.LimitLow, s.LeadLimit, s.Calibrated = 0.5, -0.5, 10, diagnostics.CalibratedNever
	s.Interval = 10 * time.Minute
	return &s
}

func mustEngine(t testing.TB, s *diagnostics.Spec) *Engine {
	t.Helper()
	e, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// cable makes the samples of one loop: leads of nearly one length whose copper
// follows the day, rounded to 1 mΩ as registers are, and what the fault adds.
type cable struct {
	seed  uint64
	step  time.Duration
	lead  [measure.LeadCount]float64 // Ω at copper factor 1
	noise float64                    // standard deviation of a lead value, Ω
	// season is what the weather of a year makes of the copper factor; nil is nothing.
	season func(days float64) float64
	// fault adds to the leads at a number of days since testStart.
	fault func(days float64, v *[measure.LeadCount]float64)
	// process is the temperature of the element, °C; nil is a steady 50 °C.
	process func(days float64) float64
}

// copperOn is the copper factor on a day: ±8 K within the day, ±3 K over nine.
func copperOn(d float64) float64 {
	return 1 + 0.03*math.Sin(2*math.Pi*(d-0.4)) + 0.01*math.Sin(2*math.Pi*d/9.7)
}

func newCable(seed uint64) cable {
	return cable{seed: seed, step: 10 * time.Minute, lead: [measure.LeadCount]float64{0.512, 0.507, 0.498, 0.503}, noise: 0.001}
}

// at returns the i-th sample. It depends on seed and i only.
func (c *cable) at(s *diagnostics.Spec, i int) measure.Sample {
	r := rand.New(rand.NewPCG(c.seed, uint64(i)))
	t := testStart.Add(time.Duration(i) * c.step)
	d := t.Sub(testStart).Hours() / 24
	f := copperOn(d)
	if c.season != nil {
		f *= c.season(d)
	}
	v := c.lead
	for k := range v {
		v[k] = v[k]*f + c.noise*r.NormFloat64()
	}
	if c.fault != nil {
		c.fault(d, &v)
	}
	for k := range v {
		v[k] = math.Round(v[k]*1000) / 1000
	}
	element := 119.4 + 0.02*math.Sin(2*math.Pi*d/3.1)
	if c.process != nil {
		element = float64(s.Sensor.Forward(quantity.DegC(c.process(d))))
	}
	return sampleOf(s, t, v, element+0.001*r.NormFloat64())
}

// sampleOf reports leads as the spec's transmitter does.
func sampleOf(s *diagnostics.Spec, t time.Time, v [measure.LeadCount]float64, element float64) measure.Sample {
	x := measure.Empty(t, measure.Good)
	for k, c := range wiring.Coefficients(s.Method) {
		element += c * v[k]
	}
	x.Sensor = quantity.Ohm(element)
	x.Reading = s.Sensor.Inverse(x.Sensor, 0)
	for _, l := range s.Leads() {
		single := l == measure.A1 && s.Wires == 3
		switch {
		case s.Reports == wiring.AllLeads, s.Reports == wiring.PairsOnly && !single:
			x.Leads[l] = quantity.Ohm(v[l])
		case s.Reports == wiring.LoopsOnly && !single:
			if l == measure.A1 || l == measure.A2 {
				x.LoopA = quantity.Ohm(v[measure.A1] + v[measure.A2])
			} else {
				x.LoopB = quantity.Ohm(v[measure.B1] + v[measure.B2])
			}
		}
	}
	return x
}

// feed steps the engine through samples from..to and returns the findings.
func (c *cable) feed(e *Engine, from, to int) []finding.Finding {
	var out []finding.Finding
	for i := from; i < to; i++ {
		s := c.at(e.m.spec, i)
		out = e.Step(&s, nil, out)
	}
	return out
}

// perDay is the samples of a day of a cable at its usual interval.
const perDay = 144

// year is a season of ± some share of the copper; a kelvin is 0.4 %.
func year(share float64) func(float64) float64 {
	return func(d float64) float64 { return 1 + share*math.Sin(2*math.Pi*d/365) }
}

// growth adds a contact to one lead that begins at a day and grows by so many Ω
// a day.
func growth(l measure.Lead, from, slope float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) { v[l] += max(0, d-from) * slope }
}

// bad returns the findings above info.
func bad(fs []finding.Finding) []finding.Finding {
	var out []finding.Finding
	for _, f := range fs {
		if f.Severity > finding.Info && f.State != finding.Cleared {
			out = append(out, f)
		}
	}
	return out
}
