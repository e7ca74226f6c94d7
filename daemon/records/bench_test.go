package records

import (
	"testing"

	"ohmdrift/diagnostics/finding"
)

// What a finding costs before anything leaves: one synced transaction.
func BenchmarkTransition(b *testing.B) {
	s, err := Open(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	s.SetSinks("log", "webhook")
	hours := 0
	for b.Loop() {
		hours++
		if err := s.Transition(b.Context(), []finding.Finding{drift(finding.Updated, hours)}); err != nil {
			b.Fatal(err)
		}
	}
}

// What a second of forwarding costs: one row of 5,000 compressed points.
func BenchmarkEnqueue(b *testing.B) {
	s, err := Open(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	body := make([]byte, 250_000)
	for b.Loop() {
		if err := s.Enqueue(b.Context(), body, 5000); err != nil {
			b.Fatal(err)
		}
	}
}
