package diagnostics_test

import (
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// A two-wire loop shows nothing of its leads: its error rests on the cable of the
// index. Over the limit by more likely than not is shown; it is told from 95 % on.
func TestAnAssumedErrorIsToldFromNinetyFivePercentOn(t *testing.T) {
	tests := []struct {
		fixed quantity.Ohm
		told  bool
	}{{0.55, false}, {-2, true}}
	for _, tt := range tests {
		s := spec(t, wiring.TwoWireFixed)
		s.Cable20, s.Fixed, s.LimitHigh, s.LimitLow = 0.5, tt.fixed, 1, -1
		l := newLoop(t, s)
		x := at(l.Spec(), 25, measure.Leads{})
		x.Leads = measure.NoLeads()
		a := l.Assess(&x)
		if !a.Over || tt.told != (a.POverLimit >= 0.95) {
			t.Fatalf("fixed %v: over %v, P %.3f, reason %q: the example is off", tt.fixed, a.Over, a.POverLimit, a.Reason)
		}
		told := false
		for _, f := range l.Check(&x, &a, nil) {
			told = told || f.Kind == finding.Imbalance
		}
		if told != tt.told {
			t.Errorf("fixed %v, P %.3f: told %v, want %v", tt.fixed, a.POverLimit, told, tt.told)
		}
	}
}
