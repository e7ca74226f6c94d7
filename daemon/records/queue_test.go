package records

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
)

func TestOutboxKeepsTheOrderOfALoop(t *testing.T) {
	s := open(t)
	other := drift(finding.Raised, 3)
	other.Loop = "TT-2"
	say(t, s, drift(finding.Raised, 0), drift(finding.Updated, 24), other)
	ms, err := s.DueMessages(t.Context(), "webhook", noon, 10)
	if err != nil || len(ms) != 2 || ms[0].Loop != "TT-1204" || ms[1].Loop != "TT-2" {
		t.Fatalf("due %v %v, want the first of each loop", ms, err)
	}
	var body struct{ Loop, State string }
	if err := json.Unmarshal(ms[0].Body, &body); err != nil || body.Loop != "TT-1204" || body.State != "raised" {
		t.Errorf("body %s %v", ms[0].Body, err)
	}
	first := drift(finding.Raised, 0)
	if ms[0].Key != Key(&first) {
		t.Errorf("key %s, want that of the transition", ms[0].Key)
	}
	// The first fails: its loop waits, the other goes on.
	if err := s.MessageRetry(t.Context(), ms[0].ID, noon.Add(time.Minute), "down"); err != nil {
		t.Fatal(err)
	}
	if err := s.MessageDelivered(t.Context(), ms[1].ID); err != nil {
		t.Fatal(err)
	}
	if ms, err := s.DueMessages(t.Context(), "webhook", noon, 10); err != nil || len(ms) != 0 {
		t.Errorf("due %v %v, want none before the pause ends", ms, err)
	}
	ms, err = s.DueMessages(t.Context(), "webhook", noon.Add(time.Minute), 10)
	if err != nil || len(ms) != 1 || ms[0].Key != Key(&first) || ms[0].Attempts != 1 {
		t.Fatalf("due %v %v, want the first again", ms, err)
	}
	if err := s.MessageRefused(t.Context(), ms[0].ID, "410"); err != nil {
		t.Fatal(err)
	}
	ms, err = s.DueMessages(t.Context(), "webhook", noon, 10)
	if second := drift(finding.Updated, 24); err != nil || len(ms) != 1 || ms[0].Key != Key(&second) {
		t.Errorf("due %v %v, want the second", ms, err)
	}
	if err := s.PruneMessages(t.Context(), time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	var left int
	if err := s.read.QueryRow("SELECT COUNT(*) FROM outbox").Scan(&left); err != nil || left != 1+3 {
		t.Errorf("%d rows left, %v; want the one of the webhook that waits and the 3 of the log", left, err)
	}
}

func TestQueueInOrderWithinItsBound(t *testing.T) {
	s := open(t)
	for i := range 10 {
		if err := s.Enqueue(t.Context(), []byte(strings.Repeat("x", 100)), 1000+i); err != nil {
			t.Fatal(err)
		}
	}
	bs, err := s.NextBatches(t.Context(), 2500)
	if err != nil || len(bs) != 2 || bs[0].Points != 1000 || bs[1].Points != 1001 || len(bs[0].Body) != 100 {
		t.Fatalf("%v %v, want the two oldest", bs, err)
	}
	if bs, err := s.NextBatches(t.Context(), 1); err != nil || len(bs) != 1 {
		t.Fatalf("%v %v, want one even if it is larger", bs, err)
	}
	if err := s.Settle(t.Context(), []int64{bs[0].ID}, []BadLine{{"rtd x=1", "no"}}); err != nil {
		t.Fatal(err)
	}
	if err := s.Delete(t.Context(), bs[1].ID); err != nil {
		t.Fatal(err)
	}
	if q, err := s.QueueSize(t.Context()); err != nil || q.Batches != 8 || q.Points != 8*1000+44 || q.Bytes != 800 || q.Oldest.IsZero() {
		t.Errorf("%+v %v, want 8 batches", q, err)
	}
	dropped, err := s.Bound(t.Context(), 350, time.Time{})
	if err != nil || dropped != 1002+1003+1004+1005+1006 {
		t.Errorf("%d points dropped, %v; want the five oldest batches", dropped, err)
	}
	if n, err := s.Bound(t.Context(), 1000, time.Now().Add(time.Hour)); err != nil || n != 1007+1008+1009 {
		t.Errorf("%d points dropped, %v; want all for their age", n, err)
	}
	if bad, err := s.Quarantined(t.Context(), 5); err != nil || len(bad) != 1 || bad[0] != (BadLine{"rtd x=1", "no"}) {
		t.Errorf("quarantine %v %v", bad, err)
	}
}

func TestQuarantineKeepsTheNewest(t *testing.T) {
	s := open(t)
	const fill = `
WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?)
INSERT INTO quarantine (created_ms, reason, line) SELECT 0, 'no', 'old ' || i FROM n`
	if _, err := s.write.Exec(fill, QuarantineBound-1); err != nil {
		t.Fatal(err)
	}
	if err := s.Settle(t.Context(), nil, []BadLine{{"new 1", "no"}, {"new 2", "no"}, {"new 3", "no"}}); err != nil {
		t.Fatal(err)
	}
	bad, err := s.Quarantined(t.Context(), 2*QuarantineBound)
	if err != nil || len(bad) != QuarantineBound || bad[0].Text != "new 3" || bad[len(bad)-1].Text != "old 3" {
		t.Errorf("%d lines, %v; want %d from old 3 to new 3", len(bad), err, QuarantineBound)
	}
}
