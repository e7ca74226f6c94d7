package daemon

import (
	"bytes"
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/diagnostics/drift"
)

// A recorded past that is taken in at two sittings, with a restart between, leaves
// what one sitting leaves, bit for bit: states, plant level, findings on record.
func TestRecallInTwoParts(t *testing.T) {
	to := time.Now().Truncate(drift.Mark)
	from, middle := to.Add(-30*day), to.Add(-3*time.Hour)
	origin := sumAmongNeighbours(dozen(t))
	a := grows(t, origin, to)
	recallInto := func(d *Daemon, from, to time.Time) {
		t.Helper()
		if n, err := d.Recall(t.Context(), a.each(from, to)); err != nil || n != len(dozenTags)*int(to.Sub(from)/drift.Mark) {
			t.Fatalf("recalled %d samples, err %v", n, err)
		}
	}
	one := opened(t, origin)
	recallInto(one, from, to)
	p := changed(origin, func(p *config.Plant) { p.Store.Dir = t.TempDir() })
	first := opened(t, p)
	recallInto(first, from, middle)
	if err := first.snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	second := startedAt(t, p, middle)
	recallInto(second, middle, to)
	if !bytes.Equal(stateOf(one.current()), stateOf(second.current())) {
		t.Error("states of two sittings differ from those of one")
	}
	for _, tag := range dozenTags {
		if x, y := len(events(t, one, tag)), len(events(t, second, tag)); x != y {
			t.Errorf("%s: %d events on record after one sitting, %d after two", tag, x, y)
		}
	}
}
