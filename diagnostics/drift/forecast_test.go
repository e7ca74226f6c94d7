package drift

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// grown is what a growing contact shows over n days: f of the day, with 5 %
// scatter.
func grown(seed uint64, n int, f func(day float64) float64) growing {
	r := rand.New(rand.NewPCG(seed, 1))
	g := growing{n: n, goal: 1, age: float64(n)}
	for i := range n {
		g.s[i] = f(float64(i)+0.5) * (1 + 0.05*r.NormFloat64())
	}
	return g
}

// TestForecastHolds wants the passing inside p10 to p90 in most of many runs, for
// growth in a straight line, growth that runs away, and a step that goes on.
func TestForecastHolds(t *testing.T) {
	for name, c := range map[string]struct {
		f      func(float64) float64
		passes float64
	}{
		"straight":  {func(d float64) float64 { return d / 30 }, 30},
		"hyperbola": {func(d float64) float64 { return 0.12 * d / (30 - d) }, 30 / 1.12},
		"spot":      {func(d float64) float64 { r := math.Sqrt(d / 32); return 0.04 * r / (1 - r) }, 32 * (1 / 1.04) * (1 / 1.04)},
		"step":      {func(d float64) float64 { return 0.5 + d/60 }, 30},
	} {
		t.Run(name, func(t *testing.T) {
			held, runs := 0, 0
			for seed := range uint64(20) {
				for _, left := range []float64{0.5, 0.25, 0.1} {
					n := int(c.passes * (1 - left))
					g := grown(seed, n, c.f)
					o := g.outlook(outlook{})
					if x := float32(c.passes - float64(n)); o.State == outlookDated && o.P10 <= x && x <= o.P90 {
						held++
					}
					runs++
				}
			}
			if held*10 < runs*6 {
				t.Errorf("%d of %d intervals hold the passing", held, runs)
			}
		})
	}
}

// TestForecastOfWorkingDays wants days off not to make the next working day look
// like the one that leaves the limit, nor a Sunday like the end of the growth.
// The shares are those of a contact that five days a week of vibration wear: a
// tenth more of the limit a week from 0.1, reached in two weeks.
func TestForecastOfWorkingDays(t *testing.T) {
	g := growing{goal: 1, age: 23}
	for _, v := range []float64{.1, .1, .1, .1, .1, 0, 0, .2, .2, .25, .25, .25, 0, 0, .35, .35, .45, .35, .45, 0, 0, .55, .55} {
		g.s[g.n] = v
		g.n++
	}
	if sd := g.scatterOf(); sd < moodySd {
		t.Fatalf("scatter %.2f", sd)
	}
	o := g.outlook(outlook{})
	if o.State != outlookDated || o.P10 > 14 || o.P90 < 10 || o.P50 < 3 {
		t.Errorf("state %d, in %.1f to %.1f to %.1f days", o.State, o.P10, o.P50, o.P90)
	}
}

// TestForecastOrdered wants quantiles in order and numbers whatever the days say.
func TestForecastOrdered(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 2000 {
		g := growing{n: 2 + r.IntN(days-1), goal: 0.1 + r.Float64(), age: 1 + 100*r.Float64(), late: r.Float64()}
		for i := range g.n {
			if g.s[i] = math.Exp(3*r.NormFloat64()) * (r.Float64() - 0.2); r.IntN(4) == 0 {
				g.s[i] = math.NaN()
			}
		}
		o := g.outlook(outlook{})
		if !(0 <= o.P10 && o.P10 <= o.P50 && o.P50 <= o.P90) || math.IsInf(float64(o.P90), 0) {
			t.Fatalf("%v from %v", o, g.s[:g.n])
		}
	}
}

// TestForecastPast wants a loop that is beyond its limit to be said to be so, and
// what noise adds in the baseline not to be taken for error.
func TestForecastPast(t *testing.T) {
	for _, c := range []struct {
		share, usual float32
		stood        uint8
		want         uint8
	}{
		{1.02, 0, outlookDated, outlookPast},
		{1.02, 0.1, outlookDated, outlookDated},
		{0.9, 0, outlookPast, outlookPast},
		{0.7, 0, outlookPast, outlookDated},
	} {
		e := mustEngine(t, testSpec(t, "TT-3101", wiring.ThreeWireLoop, wiring.AllLeads))
		s := &e.s.Error
		e.s.Last, s.Day, s.Kept, s.Usual[0] = 100*dayS+3600, 100, days, c.usual
		for i := range days {
			s.Hi[i], s.Lo[i] = c.share*(1-0.02*float32(days-1-i)), -c.share
		}
		s.Hi[days-2], s.Hi[days-3] = c.share, c.share
		e.s.Found[aboutContact].Outlook.State = c.stood
		if o := e.foreseeLevel(70*dayS, "lead-drift"); o.State != c.want {
			t.Errorf("share %v, in the baseline %v, before %d: state %d, want %d", c.share, c.usual, c.stood, o.State, c.want)
		}
	}
}

func BenchmarkForesee(b *testing.B) {
	g := grown(1, days, func(d float64) float64 { return d / 50 })
	b.ReportAllocs()
	for b.Loop() {
		x := g
		x.outlook(outlook{})
	}
}

// A lead of a four-wire loop that rises is a contact, which causes no error, or a
// voltage, which does: one chance in ten, and not within two years otherwise. With a
// lead limit that is what the leads are held against.
func TestARiseInFourWiresMayBeAVoltage(t *testing.T) {
	for _, tt := range []struct {
		name  string
		limit quantity.Ohm
		each  float64 // Ω a day
	}{
		{"no lead limit", 0, 0.002},
		{"no lead limit, beyond it as a voltage", 0, 0.02},
		{"a lead limit", 1, 0.004},
	} {
		s := testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads)
		s.LeadLimit = tt.limit
		e := mustEngine(t, s)
		c := newCable(5)
		c.fault = growth(measure.B1, 30, tt.each)
		fs := c.feed(e, 0, 60*perDay)
		open := e.Open(nil)
		if len(open) != 1 || open[0].Kind != finding.LeadDrift {
			t.Fatalf("%s: %v of %v", tt.name, printed(open), printed(fs))
		}
		f := open[0].Forecast
		if tt.limit > 0 {
			if f.Quantity != finding.LeadsLimit || f.P50.IsZero() {
				t.Errorf("%s: %+v", tt.name, f)
			}
			continue
		}
		if f.State != finding.Dated || f.P10.IsZero() || !f.P50.IsZero() || !f.P90.IsZero() || f.Quantity != finding.ErrorLimit || !strings.Contains(f.Why, "as a voltage it would") {
			t.Errorf("%s: %+v", tt.name, f)
		}
		// 0.5 °C of a Pt100 at 50 °C is 0.19 Ω: at 2 mΩ a day 95 days from the onset on day 30.
		if d := on(f.P10); tt.each == 0.002 && (d < 100 || d > 160) {
			t.Errorf("%s: one in ten on day %.0f", tt.name, d)
		}
		if d := on(f.P10); tt.each == 0.02 && d > 62 {
			t.Errorf("%s: one in ten on day %.0f, and it is past as a voltage", tt.name, d)
		}
	}
}

// What comes and goes from poll to poll in a four-wire loop is no voltage: without a
// lead limit only its opening can be foreseen.
func TestWhatComesAndGoesIsNoVoltage(t *testing.T) {
	four := mustEngine(t, testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads))
	four.m.spec.LeadLimit = 0
	three := mustEngine(t, testSpec(t, "TT-2", wiring.ThreeWireDual, wiring.AllLeads))
	for kind, want := range map[finding.Kind]bool{
		finding.LeadDrift: true, finding.LeadStep: true, finding.LeadThermal: true, finding.LeadMoisture: true,
		finding.LeadIntermittent: false, finding.LeadNoise: false, finding.LeadOpen: false, finding.ThermalEMF: false,
	} {
		if got := four.mayBeVoltage(kind); got != want {
			t.Errorf("%s in four wires: %v", kind, got)
		}
		if three.mayBeVoltage(kind) {
			t.Errorf("%s in three wires may be a voltage without an error", kind)
		}
	}
	four.s.Error.Kept = days
	if o := four.foreseeLevel(0, finding.LeadNoise); o.State != outlookCannot {
		t.Errorf("noise of a four-wire lead: state %d", o.State)
	}
	if why := four.whyNot(finding.LeadNoise); why != "the leads of a four-wire loop cause no error and no lead limit is stated" {
		t.Errorf("why not: %s", why)
	}
}

// A contact that grows keeps its date when another lead opens once.
func TestAGrowingContactKeepsItsDate(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	grows, opens := growth(measure.B1, 30, 0.0055), bounceOf(measure.A1, 0.3, 59.5)
	c.fault = func(d float64, v *[measure.LeadCount]float64) { grows(d, v); opens(d, v) }
	c.feed(e, 0, 60*perDay)
	r := &e.s.Found[aboutContact]
	if r.kind() != finding.LeadDrift || !e.onceOnly(e.worstSpikes()) {
		t.Fatalf("%s stands, once only %v", r.kind(), e.onceOnly(e.worstSpikes()))
	}
	level := e.foreseeLevel(r.Since, finding.LeadDrift)
	if o := e.foresee(r.Since, finding.LeadDrift); o.P50 > level.P50 || o.State != outlookDated {
		t.Errorf("middle estimate in %.0f days, by its growth in %.0f", o.P50, level.P50)
	}
}
