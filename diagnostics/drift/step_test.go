package drift

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// spoken returns the two moments that a sentence says something happened between.
func spoken(t *testing.T, evidence string) (from, to time.Time) {
	t.Helper()
	_, rest, ok := strings.Cut(evidence, " between ")
	var x, y string
	if ok {
		x, rest, ok = strings.Cut(rest, " and ")
	}
	if !ok || len(rest) < len("2006-01-02 15:04Z") {
		t.Fatalf("no two moments in %q", evidence)
	}
	y = rest[:len("2006-01-02 15:04Z")]
	from, err := time.Parse("2006-01-02 15:04Z", x)
	if err == nil {
		to, err = time.Parse("2006-01-02 15:04Z", y)
	}
	if err != nil {
		t.Fatal(err)
	}
	return from, to
}

// Whatever the hour at which a lead steps, the six hours that are told hold it, and
// it is said to be so since they began.
func TestTheMomentOfAStepIsTold(t *testing.T) {
	for _, kind := range []finding.Kind{finding.LeadStep, finding.LeadRestored, finding.CableChanged} {
		for hour := 0.5; hour < 24; hour++ {
			t.Run(fmt.Sprintf("%s at %g h", kind, hour), func(t *testing.T) {
				at := 40 + hour/24
				e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
				c := newCable(uint64(4 + hour))
				c.fault = func(d float64, v *[measure.LeadCount]float64) {
					switch {
					case kind == finding.LeadRestored && d < at:
						v[measure.B2] += 0.08
					case kind == finding.LeadStep && d >= at:
						v[measure.B2] += 0.08
					case kind == finding.CableChanged && d >= at:
						v[measure.B2] *= 1.2
					}
				}
				fs := c.feed(e, 0, 85*perDay)
				i := slices.IndexFunc(fs, func(f finding.Finding) bool { return f.Kind == kind })
				if i < 0 {
					t.Fatalf("not told: %v", printed(fs))
				}
				moment := testStart.Add(time.Duration(at * 24 * float64(time.Hour)))
				from, to := spoken(t, fs[i].Evidence)
				if from.After(moment) || to.Before(moment) || to.Sub(from) != 6*time.Hour || !fs[i].Since.Equal(from) {
					t.Errorf("%v, since %v: %s", moment, fs[i].Since, fs[i].Evidence)
				}
			})
		}
	}
}
