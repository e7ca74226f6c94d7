package follow

import (
	"slices"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// sums returns a loop that reports the sum of b1 and b2 and whose index states a
// cable of 0.5 Ω a lead.
func sums(t *testing.T) *Loop {
	t.Helper()
	s := spec(t)
	s.Method, s.Reports, s.Interval = wiring.ThreeWireHalf, wiring.LoopsOnly, 10*time.Minute
	l, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// poll feeds a loop every ten minutes with a sum of leads, Ω.
func poll(l *Loop, at *time.Time, sum float64, n int) (out []finding.Finding) {
	for range n {
		s := measure.Empty(*at, measure.Good)
		s.LoopB, s.Sensor = quantity.Ohm(sum), 109.735
		_, out = l.Step(&s, nil, out)
		*at = at.Add(10 * time.Minute)
	}
	return out
}

func TestAnotherCableIsNoImbalance(t *testing.T) {
	l, at := sums(t), start
	if fs := poll(l, &at, 1, 10*144); len(fs) > 0 {
		t.Fatalf("the cable of the index: %v", fs)
	}
	at = at.Add(2 * time.Hour) // the work
	fs := poll(l, &at, 2, 10*144)
	if got := imbalances(fs); len(got) > 0 {
		t.Errorf("another cable told as %v", got)
	}
	if !slices.ContainsFunc(fs, func(f finding.Finding) bool { return f.Kind == finding.CableChanged }) {
		t.Error("nobody says that the cable is another one")
	}
	// After a restart the cable of the index is not believed again.
	b := l.Snapshot(nil)
	l = sums(t)
	if err := l.Restore(b); err != nil {
		t.Fatal(err)
	}
	if got := imbalances(poll(l, &at, 2, 144)); len(got) > 0 {
		t.Errorf("told after a restart: %v", got)
	}
}

// A sum that rises between two polls is no work on the cable.
func TestSumThatStepsWithoutAGapIsAnImbalance(t *testing.T) {
	l, at := sums(t), start
	poll(l, &at, 1, 10*144)
	if got := imbalances(poll(l, &at, 2, 10*144)); len(got) != 1 || got[0].State != finding.Raised {
		t.Errorf("told %v, want an imbalance that stays", got)
	}
}

// A cable that was longer than the index says from the beginning is no contact, on
// a hot day neither; what comes on top of it is told.
func TestLongerCableThanTheIndexSaysIsNoImbalance(t *testing.T) {
	l, at := sums(t), start
	fs := poll(l, &at, 1.2, 20*144)
	fs = append(fs, poll(l, &at, 1.43, 3*144)...)
	if got := imbalances(fs); len(got) > 0 {
		t.Errorf("told as %v", got)
	}
	b := l.Snapshot(nil)
	l = sums(t)
	if err := l.Restore(b); err != nil {
		t.Fatal(err)
	}
	if got := imbalances(poll(l, &at, 1.43, 3*144)); len(got) > 0 {
		t.Errorf("told after a restart: %v", got)
	}
	if got := imbalances(poll(l, &at, 2.2, 144)); len(got) != 1 {
		t.Errorf("an ohm more is told as %v, want an imbalance", got)
	}
}
