// Package loadtest measures what polling costs at plant scale, side by side
// with a C client where there is one. Everything is a benchmark, so nothing runs
// in a normal test:
//
//	go test -run '^$' -bench . -benchtime 1x ./daemon/poll/loadtest
//
// Peers run in a process of their own, so that the figures are those of the
// polling process alone.
package loadtest

import (
	"os"
	"slices"
	"testing"
)

// roleVar tells a copy of the test binary what to be: it is started by the
// benchmarks as the far end of the wire, or as the polling process.
const roleVar = "OHMDRIFT_LOADTEST_ROLE"

func TestMain(m *testing.M) {
	switch os.Getenv(roleVar) {
	case "":
		os.Exit(m.Run())
	case "poller":
		os.Exit(pollerProcess())
	}
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/2]
}
