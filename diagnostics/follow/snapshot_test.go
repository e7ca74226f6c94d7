package follow

import (
	"bytes"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
)

// A restart in the middle of the on-delay, and one while a finding stands, say
// at the same sample what an unbroken run says.
func TestSnapshotKeepsTheDelays(t *testing.T) {
	extra := func(i int) float64 {
		if i < 100 || i > 300 {
			return 0.01
		}
		return 0.2
	}
	run := func(cuts ...int) (said []finding.Finding) {
		l := newLoop(t)
		for i := range 500 {
			for _, c := range cuts {
				if i == c {
					next := newLoop(t)
					if err := next.Restore(l.Snapshot(nil)); err != nil {
						t.Fatal(err)
					}
					l = next
				}
			}
			s := sample(start.Add(time.Duration(i)*time.Second), extra(i))
			_, said = l.Step(&s, nil, said)
		}
		return imbalances(said)
	}
	want := run()
	if len(want) != 2 {
		t.Fatalf("unbroken: %v, want raised and cleared", want)
	}
	got := run(130, 200, 330)
	if len(got) != len(want) {
		t.Fatalf("with restarts %v, unbroken %v", got, want)
	}
	for i := range want {
		if got[i].State != want[i].State || !got[i].Time.Equal(want[i].Time) || !got[i].Since.Equal(want[i].Since) || got[i].Leads != want[i].Leads {
			t.Errorf("with restarts %+v\nunbroken %+v", got[i], want[i])
		}
	}
}

func TestRestoreRefuses(t *testing.T) {
	l := newLoop(t)
	good := l.Snapshot(nil)
	before := bytes.Clone(good)
	other := bytes.Clone(good)
	other[0]++
	for name, b := range map[string][]byte{"empty": nil, "cut": good[:7], "another version": other} {
		if err := l.Restore(b); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if !bytes.Equal(l.Snapshot(nil), before) {
		t.Error("a refused snapshot changed the loop")
	}
}
