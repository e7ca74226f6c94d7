package follow

import (
	"testing"
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// secondly feeds samples a second apart with a1 so many Ω above the others.
func secondly(l *Loop, from time.Time, n int, extra float64) (at time.Time, said []finding.Finding) {
	for i := range n {
		s := sample(from.Add(time.Duration(i)*time.Second), extra)
		_, said = l.Step(&s, nil, said)
	}
	return from.Add(time.Duration(n) * time.Second), said
}

// The hand that takes the error over its limit for ten minutes leaves no finding; what
// still is over it after the check is told when it has lasted a minute more.
func TestAHandIsNoImbalance(t *testing.T) {
	l := newLoop(t)
	at, said := secondly(l, start, 120, 0.02)
	at, more := secondly(l, at, 30, 0.2) // half of what is to be told
	said = append(said, more...)
	l.Check(at, at.Add(10*time.Minute))
	at, more = secondly(l, at, 599, 0.2)
	if said = append(said, more...); len(said) != 0 {
		t.Fatalf("%s %s in the check", said[0].Kind, said[0].State)
	}
	at = at.Add(time.Second)
	at, said = secondly(l, at, 59, 0.2)
	if len(said) != 0 {
		t.Errorf("%s %s within a minute after the check", said[0].Kind, said[0].State)
	}
	if _, said = secondly(l, at, 5, 0.2); len(imbalances(said)) != 1 {
		t.Errorf("%v; want the imbalance a minute after the check", said)
	}
}

// What stood stands on while the hand takes it away, and is cleared when it is away
// after the check.
func TestWhatStoodStandsThroughACheck(t *testing.T) {
	l := newLoop(t)
	at, said := secondly(l, start, 120, 0.2)
	if len(imbalances(said)) != 1 {
		t.Fatalf("%v; want an imbalance", said)
	}
	l.Check(at, at.Add(time.Hour))
	at, said = secondly(l, at, 300, 0.02)
	if len(said) != 0 {
		t.Errorf("%s %s in the check", said[0].Kind, said[0].State)
	}
	if said = l.Journal(at, drift.CheckEnded, nil); len(said) != 0 {
		t.Errorf("the end of the check said %s %s", said[0].Kind, said[0].State)
	}
	if _, said = secondly(l, at.Add(time.Second), 90, 0.02); len(imbalances(said)) != 1 || said[0].State != finding.Cleared {
		t.Errorf("%v; want it cleared after the check", said)
	}
}
