package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// spring is by how much the copper of a cable rises from winter to summer, with
// warm spells and cold ones, as a share; lagging by so many days.
func spring(d, lag float64) float64 {
	d -= lag
	return 0.06*(1-math.Cos(2*math.Pi*d/365)) + 0.012*math.Sin(2*math.Pi*d/13) + 0.008*math.Sin(2*math.Pi*d/29)
}

// outdoors is a cable that follows the season. Core b2 lies in another tray: it
// follows by so much more, days late.
func outdoors(ohm, more, lag float64) cable {
	c := newCable(11)
	for k := range c.lead {
		c.lead[k] *= ohm / 0.5
	}
	base := c.lead
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		for k := range v {
			v[k] += base[k] * spring(d, 0)
		}
		v[measure.B2] += base[measure.B2] * more * spring(d, lag)
	}
	return c
}

func TestCoreWithASeasonOfItsOwn(t *testing.T) {
	for _, ohm := range []float64{0.5, 2, 5} {
		for _, more := range []float64{-0.3, 0.2, 0.3} {
			for _, lag := range []float64{2, 3} {
				e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
				e.m.spec.LimitHigh, e.m.spec.LimitLow = 2, -2 // the core itself is an error, and none that matters
				c := outdoors(ohm, more, lag)
				if b := bad(c.feed(e, 0, 180*perDay)); len(b) > 0 {
					t.Errorf("%.1f Ω, %.1f times the season %.1f days late: %s of %v on day %.0f: %s", ohm, more, lag, b[0].Kind, b[0].Leads.Names(), b[0].Time.Sub(testStart).Hours()/24, b[0].Evidence)
				}
			}
		}
	}
}

// A contact that grows while spring comes is not taken for the spring.
func TestContactThatGrowsInSpring(t *testing.T) {
	for _, slope := range []float64{0.0005, 0.001, 0.003} { // Ω a day
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := outdoors(1, 0, 0)
		warm := c.fault
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			warm(d, v)
			v[measure.A1] += slope * max(0, d-60)
		}
		b := bad(c.feed(e, 0, 100*perDay))
		if len(b) == 0 || b[0].Leads != finding.LeadsOf(measure.A1) {
			t.Errorf("%.1f mΩ a day: found %v, want a1", slope*1e3, b)
			continue
		}
		if late := b[0].Time.Sub(testStart).Hours()/24 - 60 - 0.003/slope; late > 6 {
			t.Errorf("%.1f mΩ a day: found %.1f days after it passed 3 mΩ", slope*1e3, late)
		}
	}
}

// What a season may have done unseen grows with how far it went and shrinks with
// the spells of weather that told how much of it a core shares.
func TestWhatASeasonMayHaveDoneUnseen(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	for k := range e.m.n {
		e.s.Ch[k].Base, e.s.Ch[k].Scale = 2, 0.0005
	}
	s := &e.s.Season
	s.N, s.TT, s.Home = 80, 533, 1
	for _, tt := range []struct{ spells, went, least, most float64 }{
		{1e-6, 0, 0, 0},
		{1e-6, 0.03, 0.013, 0.0151}, // a quarter of 60 mΩ: nothing was told
		{1e-6, -0.03, 0.013, 0.0151},
		{1e-2, 0.03, 0, 0.003},
	} {
		s.FF, s.F = float32(tt.spells*tt.spells), float32(1+tt.went)
		if x := e.seasonUnseen(1); !(x >= tt.least && x <= tt.most) {
			t.Errorf("spells of %g, a season of %g: %.4f Ω, want %g to %g", tt.spells, tt.went, x, tt.least, tt.most)
		}
	}
	s.FF, s.F = 1e-4, 1.03
	calm := e.seasonUnseen(1)
	s.Ch[1].UU = 4e-4 // 20 mΩ that neither weather nor time explains
	if x := e.seasonUnseen(1); x < 3*calm {
		t.Errorf("%.4f Ω where 20 mΩ are unexplained, %.4f Ω where nothing is", x, calm)
	}
	p := e.newest()
	with, _ := e.threshold(1, &p)
	s.F = 1
	if without, _ := e.threshold(1, &p); with < without+0.001 {
		t.Errorf("threshold %.4f Ω after a season, %.4f Ω before", with, without)
	}
}
