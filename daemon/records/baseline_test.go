package records

import (
	"math"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

func TestTheNewestBaselineIsInForce(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for i, a1 := range []quantity.Ohm{0.5, 0.6} {
		b := diagnostics.NoBaseline(at.Add(time.Duration(i) * time.Hour))
		b.Leads[measure.A1], b.LoopB = a1, 1.25
		if err := s.AcceptBaseline(t.Context(), Baseline{Loop: "TT-1", Leads: b, Proposer: "kim", Accepter: "ada", Note: "terminals made anew"}); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Baselines(t.Context())
	if err != nil || len(got) != 1 {
		t.Fatalf("%d baselines, err %v; want the newest alone", len(got), err)
	}
	b := got[0]
	if b.Leads.Leads[measure.A1] != 0.6 || b.Leads.LoopB != 1.25 || !math.IsNaN(float64(b.Leads.Leads[measure.B1])) || !b.Leads.At.Equal(at.Add(time.Hour)) {
		t.Errorf("baseline %+v", b.Leads)
	}
	if b.Proposer != "kim" || b.Accepter != "ada" || b.Note != "terminals made anew" {
		t.Errorf("who answers for it: %+v", b)
	}
	if _, err := s.write.Exec(`UPDATE baseline SET ohms = '{}'`); err == nil {
		t.Error("a baseline could be changed")
	}
	if _, err := s.write.Exec(`DELETE FROM baseline`); err == nil {
		t.Error("a baseline could be deleted")
	}
}
