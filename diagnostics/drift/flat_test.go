package drift

import (
	"math"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/wiring"
)

// noiseThat returns what a loop says of noise on all leads, of the standard
// deviation sd in Ω by the day, and when a leak was taken back, in days (0: never).
func noiseThat(t *testing.T, seed uint64, days int, sd func(d float64) float64) (leak bool, back float64, changed bool) {
	t.Helper()
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(seed)
	c.fault = hiss(sd)
	for _, f := range run(e, &c, 0, days*perDay) {
		switch {
		case f.Kind == finding.InsulationLeak && f.State == finding.Raised:
			leak = true
		case f.Kind == finding.InsulationLeak && f.State == finding.Cleared:
			back = f.Time.Sub(testStart).Hours() / 24
		case f.Kind == finding.DeviceChanged:
			changed = true
		}
	}
	stands := slices.ContainsFunc(e.Open(nil), func(f finding.Finding) bool { return f.Kind == finding.InsulationLeak })
	if leak && back == 0 && !stands {
		t.Error("a leak ended without a word")
	}
	return leak, back, changed
}

// An input that has become noisier by a fifth within days and stays so is first
// called a leak, as it must be, and taken back after four weeks.
func TestNoiseThatStandsStillIsLearnt(t *testing.T) {
	for _, rise := range []float64{4, 30} { // days
		for seed := range uint64(3) {
			leak, back, changed := noiseThat(t, seed, 140, func(d float64) float64 { // of an input with 1 mΩ
				return 0.0007 * min(1, max(0, (d-45)/rise))
			})
			if !leak || back == 0 || back > 45+rise+45 || !changed {
				t.Errorf("rise of %.0f days, seed %d: leak %t, taken back on day %.1f, told as a change of the device %t; want it taken back within weeks of standing still", rise, seed, leak, back, changed)
			}
		}
	}
}

// A leak that grows is never taken back, be it as slow as twofold noise power in
// three weeks, and wet and dry fortnights do not hide it.
func TestLeakThatGrowsStands(t *testing.T) {
	for name, sd := range map[string]func(d float64) float64{
		"slow":        func(d float64) float64 { return 0.0006 * math.Exp((d-50)/60) },
		"wet and dry": func(d float64) float64 { return 0.0006 * math.Exp((d-50)/40) * (1 + 0.3*math.Sin(2*math.Pi*d/14)) },
	} {
		for seed := range uint64(3) {
			leak, back, _ := noiseThat(t, seed, 115, func(d float64) float64 {
				if d < 40 {
					return 0
				}
				return sd(d)
			})
			if !leak || back != 0 {
				t.Errorf("%s, seed %d: leak %t, taken back on day %.1f; want it to stand", name, seed, leak, back)
			}
		}
	}
}
