package history

import (
	"testing"
	"time"

	"ohmdrift/diagnostics/measure"
)

func TestOldestFollowsWhatIsStored(t *testing.T) {
	h, err := Open(t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	if at := h.Oldest(); !at.IsZero() {
		t.Fatalf("oldest of nothing is %v", at)
	}
	now := time.Now().Truncate(time.Second).UTC()
	past := now.Add(-30 * 24 * time.Hour)
	err = h.Import(t.Context(), func(yield func(string, *measure.Sample) bool) {
		s := measure.Empty(past, measure.Good)
		s.Sensor = 100
		yield("TT-1", &s)
	})
	if err != nil {
		t.Fatal(err)
	}
	live := measure.Empty(now, measure.Good)
	h.Append("TT-1", &live)
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if at := h.Oldest(); !at.Equal(past) {
		t.Errorf("oldest is %v, want that of the recorded past, %v", at, past)
	}
}
