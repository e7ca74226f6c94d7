package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// hissing is a cable whose leads scatter by 2 mΩ times what the factor says of a
// day and a lead.
func hissing(seed uint64, factor func(d float64, l measure.Lead) float64) cable {
	c := newCable(seed)
	c.noise = 0
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		r := rand.New(rand.NewPCG(seed, uint64(d*1e4)))
		for l := range v {
			v[l] += 0.002 * factor(d, measure.Lead(l)) * r.NormFloat64()
		}
	}
	return c
}

func TestAnotherFilterIsNoLeak(t *testing.T) {
	for _, k := range []float64{1.5, 2, 4, 0.6, 0.3} {
		for _, m := range []wiring.Method{wiring.ThreeWireDual, wiring.FourWire} {
			e := mustEngine(t, testSpec(t, "TT-2101", m, wiring.AllLeads))
			c := hissing(5, func(d float64, _ measure.Lead) float64 {
				if d > 50 {
					return k
				}
				return 1
			})
			fs := c.feed(e, 0, 100*perDay)
			if b := bad(fs); len(b) > 0 {
				t.Errorf("%s, noise × %.1f: %s on day %.1f: %s", m, k, b[0].Kind, b[0].Time.Sub(testStart).Hours()/24, b[0].Evidence)
			}
			if !slices.ContainsFunc(fs, func(f finding.Finding) bool {
				d := f.Time.Sub(testStart).Hours() / 24
				return f.Kind == finding.DeviceChanged && d > 51 && d < 54
			}) {
				t.Errorf("%s, noise × %.1f: nobody says that the device was changed", m, k)
			}
		}
	}
}

// A large step that comes within a block is followed within three more, since single
// changes are cut at the noise of the block before.
func TestFilterSetAnewWithinABlock(t *testing.T) {
	for _, at := range []float64{50.05, 50.1, 50.15, 50.2} { // day
		for seed := range uint64(6) {
			e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
			c := hissing(seed, func(d float64, _ measure.Lead) float64 {
				if d > at {
					return 3
				}
				return 1
			})
			if b := bad(c.feed(e, 0, 60*perDay)); len(b) > 0 {
				t.Errorf("from day %.2f on, seed %d: %s on day %.1f: %s", at, seed, b[0].Kind, on(b[0].Time), b[0].Evidence)
			}
		}
	}
}

// A process that is as hot after the change as it was before has nothing to do with
// it, whatever batch it was making in between.
func TestProcessThatCameWithTheNoise(t *testing.T) {
	for _, tt := range []struct {
		name string
		temp [recent]float32 // °C, by block, the change within the fourth
		came bool
	}{
		{"still", [recent]float32{70, 70, 70, 70, 70, 70, 70, 70, 70, 70, 70, 70}, false},
		{"emptied before", [recent]float32{69, 62, 27, 70, 70, 70, 70, 70, 109, 70, 70, 70}, false},
		{"heated", [recent]float32{39, 38, 39, 70, 70, 71, 70, 70, 69, 70, 70, 70}, true},
		{"heated a block later", [recent]float32{39, 38, 39, 39, 70, 71, 70, 70, 69, 70, 70, 70}, false},
		{"not read", [recent]float32{nan32, nan32, nan32, nan32, nan32, nan32, nan32, nan32, nan32, nan32, nan32, nan32}, false},
	} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		e.s.Copper.Temp = tt.temp
		if got := e.processStepped(); got != tt.came {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.came)
		}
	}
}

var nan32 = float32(math.NaN())

// What grows, comes and goes, or takes one lead alone is no filter.
func TestNoFilter(t *testing.T) {
	for name, factor := range map[string]func(float64, measure.Lead) float64{
		"slow growth": func(d float64, _ measure.Lead) float64 { return math.Exp(max(0, d-50) / 15) },
		"fast growth": func(d float64, _ measure.Lead) float64 { return math.Exp(min(max(0, d-50)/4, 1.5)) },
		"wet spells": func(d float64, _ measure.Lead) float64 {
			return 1 + max(0, min(d-50, 30))/15*max(0, math.Sin(2*math.Pi*d/1.5))
		},
		"one lead": func(d float64, l measure.Lead) float64 {
			if d > 50 && l == measure.B1 {
				return 4
			}
			return 1
		},
	} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
		c := hissing(5, factor)
		fs := c.feed(e, 0, 75*perDay)
		if i := slices.IndexFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.DeviceChanged }); i >= 0 {
			t.Errorf("%s: %s", name, fs[i].Evidence)
		}
		want := finding.InsulationLeak
		if name == "one lead" {
			want = finding.LeadNoise
		}
		if b := bad(fs); len(b) == 0 || b[0].Kind != want {
			t.Errorf("%s: found %v, want %s", name, b, want)
		}
	}
}

// A shunt that conducts when the process has become hot is no filter either.
func TestNoiseThatComesWithTheProcess(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := hissing(5, func(d float64, _ measure.Lead) float64 {
		if d > 50 {
			return 2
		}
		return 1
	})
	var fs []finding.Finding
	for i := range 60 * perDay {
		s := c.at(e.m.spec, i)
		if i > 50*perDay {
			s.Sensor += 12 // some 30 K
			s.Reading = s.Reading + 31
		}
		fs = e.Step(&s, nil, fs)
	}
	if b := bad(fs); len(b) == 0 || b[0].Kind != finding.InsulationLeak {
		t.Errorf("found %v, want an insulation leak", b)
	}
}
