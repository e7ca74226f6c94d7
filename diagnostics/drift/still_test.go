package drift

import (
	"math"
	"math/bits"
	"strings"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// severities returns the days on which the severity of the standing contact finding
// changed, and to what.
func severities(fs []finding.Finding) (days []float64, to []finding.Severity) {
	last := finding.Severity(99)
	for _, f := range fs {
		if f.State == finding.Cleared {
			continue
		}
		if f.Severity != last {
			days, to = append(days, on(f.Time)), append(to, f.Severity)
		}
		last = f.Severity
	}
	return days, to
}

// What stepped and stands still for four weeks with most of its limit left is
// information, until it moves.
func TestWhatStandsStillIsInformation(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		if d > 40 {
			v[measure.B1] += 0.06 + 0.003*max(0, d-90)
		}
	}
	fs := c.feed(e, 0, 80*perDay)
	if p := e.Publish(); p.Kind != finding.LeadStep || !p.Rests {
		t.Errorf("what stands still is published as %q, resting %v", p.Kind, p.Rests)
	}
	fs = append(fs, c.feed(e, 80*perDay, 100*perDay)...)
	days, to := severities(fs)
	if len(to) != 3 || to[0] != finding.Maintenance || to[1] != finding.Info || to[2] != finding.Maintenance {
		t.Fatalf("severities %v on days %v: %v", to, days, printed(fs))
	}
	if days[0] > 44 || days[1] < 68 || days[1] > 75 || days[2] < 91 || days[2] > 95 {
		t.Errorf("on days %.1f; want raised at once, information after four weeks, and again when it grew by 9 mΩ", days)
	}
	for _, f := range fs {
		if f.Severity == finding.Info && f.State != finding.Cleared && !strings.Contains(f.Evidence, "has stood still within 9.0 mΩ") {
			t.Errorf("information without a reason: %s", f.Evidence)
		}
	}
}

// What is large, moves or takes the loop near its limit is a request as long as it stands.
func TestWhatDoesNotStandStillIsNone(t *testing.T) {
	for _, tt := range []struct {
		name string
		ohm  func(d float64) float64
	}{
		{"half of the limit", func(float64) float64 { return 0.1 }},
		{"grows by a fifth in four weeks", func(d float64) float64 { return 0.05 * (1 + 0.2*(d-40)/28) }},
		{"comes and goes with weeks", func(d float64) float64 { return 0.04 + 0.012*math.Sin(2*math.Pi*d/17) }},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.B1] += tt.ohm(d)
			}
		}
		days, to := severities(c.feed(e, 0, 100*perDay))
		if len(to) != 1 || to[0] != finding.Maintenance {
			t.Errorf("%s: severities %v on days %.1f, want maintenance throughout", tt.name, to, days)
		}
	}
}

// resting returns an engine whose contact has stood still for a month at 60 mΩ of the
// 193 mΩ that move the reading by its limit.
func resting(t *testing.T) *Engine {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		if d > 40 {
			v[measure.B1] += 0.06
		}
	}
	c.feed(e, 0, 75*perDay)
	return e
}

// Each thing by which a contact that stands still is a request all the same.
func TestWhatRestsIsAskedMuch(t *testing.T) {
	contact := func(e *Engine) *record { return &e.s.Found[aboutContact] }
	for _, tt := range []struct {
		name string
		do   func(e *Engine, p *picture, c *claim)
		want finding.Severity
	}{
		{"as it is", func(*Engine, *picture, *claim) {}, finding.Info},
		{"beyond the limit now", func(e *Engine, _ *picture, _ *claim) { e.s.Beyond = true }, finding.Maintenance},
		{"70 % of the limit yesterday", func(e *Engine, _ *picture, _ *claim) { e.s.Error.Hi[days-1] = 0.7 }, finding.Maintenance},
		{"64 %, and resting already", func(e *Engine, _ *picture, _ *claim) { e.s.Error.Hi[days-1] = 0.64 }, finding.Info},
		{"64 %, and a request so far", func(e *Engine, _ *picture, _ *claim) {
			e.s.Error.Hi[days-1], contact(e).Severity = 0.64, finding.Maintenance
		}, finding.Maintenance},
		{"another kind", func(_ *Engine, _ *picture, c *claim) { c.kind = finding.LeadThermal }, finding.Maintenance},
		{"opens", func(e *Engine, _ *picture, _ *claim) {
			e.s.Ch[1].Spike.Sure, e.s.Ch[1].Spike.Size = 9, 0.3
		}, finding.Maintenance},
		{"two leads", func(e *Engine, _ *picture, c *claim) { c.channels, contact(e).Channels = 6, 6 }, finding.Maintenance},
		{"another lead", func(e *Engine, _ *picture, c *claim) { c.channels = 4 }, finding.Maintenance},
		{"came last week", func(e *Engine, p *picture, _ *claim) { e.s.Still.From = p.at - 7*dayS }, finding.Maintenance},
	} {
		e := resting(t)
		p := e.newest()
		c := claim{kind: finding.LeadStep, severity: finding.Maintenance, channels: contact(e).Channels}
		tt.do(e, &p, &c)
		if e.rests(&p, &c, c.kind); c.severity != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, c.severity, tt.want)
		}
	}
}

// A step of weeks ago that looks like a drift now is at rest as before; what looks like
// something that moves is not, though it keeps its name for days.
func TestWhatRestsMayLookLikeADrift(t *testing.T) {
	e := resting(t)
	for looks, want := range map[finding.Kind]finding.Severity{
		finding.LeadStep: finding.Info, finding.LeadDrift: finding.Info,
		finding.LeadThermal: finding.Maintenance, finding.LeadMoisture: finding.Maintenance,
	} {
		p := e.newest()
		c := claim{kind: finding.LeadStep, severity: finding.Maintenance, channels: e.s.Found[aboutContact].Channels}
		if e.rests(&p, &c, looks); c.severity != want {
			t.Errorf("%s: %s, want %s", looks, c.severity, want)
		}
	}
}

// Nor does it ask again when its level crosses what tells a step from a drift, for the
// days in which it keeps its name.
func TestAStepAtRestStaysWhenItLooksLikeADrift(t *testing.T) {
	e := resting(t)
	r := &e.s.Found[aboutContact]
	if r.kind() != finding.LeadStep || r.Severity != finding.Info {
		t.Fatalf("%s %s, want a step at rest", r.kind(), r.Severity)
	}
	ch := &e.s.Ch[bits.TrailingZeros8(r.Channels)]
	ch.Jump = 0 // what it came by is forgotten
	p := e.newest()
	for i := range int64(3) {
		p.at += blockS
		if out := e.decide(&p, nil); r.Severity != finding.Info {
			t.Fatalf("block %d: %v", i, printed(out))
		}
	}
	if e.s.Other == 0 {
		t.Error("it does not look like a drift: this tests nothing")
	}
}

// What has another name than a step or a drift is no rest, whatever it looks like now.
func TestWhatHasAnotherNameDoesNotRest(t *testing.T) {
	e := resting(t)
	p := e.newest()
	c := claim{kind: finding.LeadThermal, severity: finding.Maintenance, channels: e.s.Found[aboutContact].Channels}
	if e.rests(&p, &c, finding.LeadStep); c.severity != finding.Maintenance {
		t.Errorf("%s, want %s", c.severity, finding.Maintenance)
	}
}

// What begins to open, and a second lead that rises below the first, are no rest.
func TestWhatBeginsToMoveDoesNotRest(t *testing.T) {
	for _, tt := range []struct {
		name string
		then func(d float64, v *[measure.LeadCount]float64) // from day 80 on
	}{
		{"it opens time and again", bounce(0.3, 80.3, 80.6, 81.2, 81.7, 82.4)},
		{"a second lead rises", func(d float64, v *[measure.LeadCount]float64) { v[measure.B2] += 0.006 * max(0, d-80) }},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(5)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.B1] += 0.06
			}
			tt.then(d, v)
		}
		c.feed(e, 0, 80*perDay)
		if e.s.Found[aboutContact].Severity != finding.Info {
			t.Fatal("what stood still for a month is not information to begin with")
		}
		c.feed(e, 80*perDay, 84*perDay)
		if r := &e.s.Found[aboutContact]; r.Severity == finding.Info {
			t.Errorf("%s: still information as %s", tt.name, r.kind())
		}
	}
}

// A voltage that has stood still for four weeks rests as a contact does, and is told
// again when it moves; it is called a voltage all the while. One that takes half of the
// limit does not rest.
func TestAVoltageThatStandsStillRests(t *testing.T) {
	for _, tt := range []struct {
		ohm   float64
		rests bool
	}{{0.03, true}, {0.085, false}} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(3)
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			v[measure.B1] -= tt.ohm*min(max(0, d-40)/12, 1) + 0.0008*max(0, d-110)
		}
		fs := run(e, &c, 0, 130*perDay)
		for _, f := range fs {
			if f.Kind != finding.ThermalEMF || f.Leads != finding.LeadsOf(measure.B1) {
				t.Fatalf("%g Ω, day %.1f: %s of %v: %s", tt.ohm, on(f.Time), f.Kind, f.Leads.Names(), f.Evidence)
			}
		}
		days, to := severities(fs)
		if !tt.rests {
			if len(to) != 1 {
				t.Errorf("%g Ω: severities %v on days %.1f", tt.ohm, to, days)
			}
			continue
		}
		if len(to) != 3 || to[1] != finding.Info || days[1] < 75 || days[1] > 90 || days[2] < 111 || days[2] > 122 {
			t.Errorf("%g Ω: severities %v on days %.1f: want information four weeks after day 52, and told again within twelve days of 110", tt.ohm, to, days)
		}
	}
}
