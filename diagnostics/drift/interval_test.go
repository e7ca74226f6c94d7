package drift

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// TestIntervalChangesNoFinding: what is found, and about when, does not hang on
// how often the transmitter is polled: once a second to once an hour.
func TestIntervalChangesNoFinding(t *testing.T) {
	const onset = 24.0 // days: the baseline takes 21
	tests := []struct {
		name  string
		fault func(d float64, v *[measure.LeadCount]float64)
		days  float64
		kinds []finding.Kind // none: sound
		by    float64        // day
	}{
		{"sound", nil, 30, nil, 0},
		{"drift", grow(measure.B1, onset, 0.004, 1), 30, []finding.Kind{finding.LeadDrift}, onset + 4.5},
		{"step", func(d float64, v *[measure.LeadCount]float64) {
			if d > onset {
				v[measure.B1] += 0.15
			}
		}, 30, []finding.Kind{finding.LeadStep}, onset + 4.5},
		{"thermal", func(d float64, v *[measure.LeadCount]float64) {
			if d > onset {
				v[measure.B1] += 0.05 * (1 + math.Cos(2*math.Pi*(d-15.0/24)))
			}
		}, 30, []finding.Kind{finding.LeadThermal}, onset + 5},
	}
	for _, step := range []time.Duration{time.Second, 10 * time.Second, time.Minute, 10 * time.Minute, time.Hour} {
		for _, tt := range tests {
			if step == time.Second && tt.name != "sound" && tt.name != "drift" {
				continue // they take a second each
			}
			t.Run(tt.name+"/"+step.String(), func(t *testing.T) {
				t.Parallel()
				s := testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads)
				s.Interval = step
				e := mustEngine(t, s)
				c := newCable(3)
				c.step, c.fault = step, tt.fault
				out := counted(c.feed(e, 0, int(tt.days*24*float64(time.Hour/step))))
				if tt.kinds == nil {
					if len(out) > 0 {
						t.Errorf("%s: %s", out[0].Kind, out[0].Evidence)
					}
					return
				}
				if len(out) == 0 {
					t.Fatal("nothing found")
				}
				last := out[len(out)-1]
				if d := out[0].Time.Sub(testStart).Hours() / 24; d < onset || d > tt.by {
					t.Errorf("found on day %.2f, want by day %v: %s", d, tt.by, out[0].Evidence)
				}
				if last.Kind != tt.kinds[0] || last.Leads != finding.LeadsOf(measure.B1) {
					t.Errorf("got %s %v: %s", last.Kind, last.Leads.Names(), last.Evidence)
				}
			})
		}
	}
}

// TestIntervalChangesNoExcursions: a contact that opens for a second now and then
// is found at every interval, sooner the more often one looks, and bad registers
// of one poll in 2000 make no contact at any.
func TestIntervalChangesNoExcursions(t *testing.T) {
	const onset = 24.0
	for _, step := range []time.Duration{10 * time.Second, time.Minute, 10 * time.Minute} {
		for _, real := range []bool{true, false} {
			t.Run(step.String()+map[bool]string{true: "/contact", false: "/registers"}[real], func(t *testing.T) {
				t.Parallel()
				s := testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads)
				s.Interval = step
				e := mustEngine(t, s)
				c, still := newCable(3), newCable(3)
				c.step, still.step = step, step
				r := rand.New(rand.NewPCG(1, uint64(step)))
				share := 1.0 / 2000
				if real {
					share = 1.0 / 300
				}
				hit := false
				c.fault = func(d float64, v *[measure.LeadCount]float64) {
					if hit = (d > onset || !real) && r.Float64() < share; hit {
						v[measure.B1] += 0.2 + 2*r.Float64()
					}
				}
				var out []finding.Finding
				for i := range int(34 * 24 * time.Hour / step) {
					x := c.at(s, i)
					if hit && !real {
						x.Sensor = still.at(s, i).Sensor
					}
					out = e.Step(&x, nil, out)
				}
				out = counted(out)
				if !real {
					if len(out) > 0 {
						t.Errorf("%s: %s", out[0].Kind, out[0].Evidence)
					}
					return
				}
				if len(out) == 0 {
					t.Fatal("nothing found")
				}
				if d := out[0].Time.Sub(testStart).Hours() / 24; out[0].Kind != finding.LeadIntermittent || d < onset || d > onset+6 {
					t.Errorf("%s on day %.2f: %s", out[0].Kind, d, out[0].Evidence)
				}
			})
		}
	}
}

// TestImplausibleIsAShare: one bad value in 500 is none at any interval, one in
// 20 is.
func TestImplausibleIsAShare(t *testing.T) {
	for _, step := range []time.Duration{10 * time.Second, time.Minute, 10 * time.Minute} {
		for _, every := range []int{500, 20} {
			s := testSpec(t, "TT-1", wiring.FourWire, wiring.AllLeads)
			s.Interval = step
			e := mustEngine(t, s)
			c := newCable(4)
			c.step = step
			var out []finding.Finding
			for i := range int(16 * 24 * time.Hour / step) {
				x := c.at(s, i)
				if i%every == 3 {
					x.Leads[i/every%4] = 0
				}
				out = e.Step(&x, nil, out)
			}
			out = counted(out)
			if every == 500 && len(out) > 0 || every == 20 && (len(out) == 0 || out[0].Kind != finding.Implausible) {
				t.Errorf("%v, a bad value in %d: %d findings", step, every, len(out))
			}
		}
	}
}
