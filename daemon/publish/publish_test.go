package publish

import (
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/history"
	"ohmdrift/daemon/notify"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

func loop(tag string, age time.Duration, q measure.Quality) Loop {
	nan := math.NaN()
	a := &diagnostics.Assessment{Leads: measure.NoLeads(), Error: -0.65, U: 0.01, Imbalance: -0.25, Reading: 100, SinceCal: quantity.DeltaC(nan), ShareLimit: nan, POverLimit: nan}
	a.Leads[measure.A1] = 0.5
	l := Loop{Tag: tag, Site: "Larkfield", Area: "Media", Polled: time.Now().Add(-age), Interval: time.Second, Quality: q, Values: a, Contact: measure.NoLeads(), Condition: diagnostics.MaintenanceRequired, Findings: 1}
	l.Contact[measure.A1] = 0.042
	return l
}

func scrape(t *testing.T, cs ...prometheus.Collector) []string {
	t.Helper()
	r := New("test")
	if err := r.Register(cs...); err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(r.Handler())
	defer srv.Close()
	resp, err := http.Get(srv.URL + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s %v", resp.Status, err)
	}
	return strings.Split(string(text), "\n")
}

// of returns the names of the loop metrics that a scrape has for a loop.
func of(lines []string, tag string) []string {
	var names []string
	for _, l := range lines {
		if strings.HasPrefix(l, "ohmdrift_loop_") && strings.Contains(l, `loop="`+tag+`"`) {
			name, _, _ := strings.Cut(strings.TrimPrefix(l, "ohmdrift_loop_"), "{")
			names = append(names, name)
		}
	}
	return names
}

func TestOnlyTrustedValuesAreShown(t *testing.T) {
	never := loop("never", 0, measure.Good)
	never.Polled = time.Time{}
	slow := loop("slow", 100*time.Second, measure.Good) // an age of 1.7 intervals
	slow.Interval = time.Minute
	list := []Loop{loop("good", 0, measure.Good), loop("late", 0, measure.Late), loop("old", 31*time.Second, measure.Good), loop("comms", 0, measure.Comms), never, slow}
	lines := scrape(t, Loops(slices.Values(list)))
	state := []string{"age_seconds", "condition", "findings", "quality"}
	all := []string{"age_seconds", "condition", "contact_ohm", "error_degC", "findings", "imbalance_ohm", "lead_ohm", "quality", "reading_degC", "u_degC"}
	for tag, want := range map[string][]string{"good": all, "late": all, "slow": all, "old": state, "comms": state, "never": state[1:]} {
		if got := of(lines, tag); !slices.Equal(got, want) {
			t.Errorf("%s: metrics %v, want %v", tag, got, want)
		}
	}
	for _, want := range []string{
		`ohmdrift_loop_quality{area="Media",loop="good",site="Larkfield"} 0`,
		`ohmdrift_loop_quality{area="Media",loop="old",site="Larkfield"} 2`,
		`ohmdrift_loop_quality{area="Media",loop="never",site="Larkfield"} 2`,
		`ohmdrift_loop_quality{area="Media",loop="comms",site="Larkfield"} 3`,
		`ohmdrift_loop_error_degC{area="Media",loop="good",site="Larkfield"} -0.65`,
		`ohmdrift_loop_contact_ohm{area="Media",lead="a1",loop="good",site="Larkfield"} 0.042`,
		`ohmdrift_loop_condition{area="Media",loop="good",site="Larkfield"} 1`,
		`ohmdrift_build_info{version="test"} 1`,
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("no line %s", want)
		}
	}
}

func TestStatsReachTheScrape(t *testing.T) {
	lines := scrape(t,
		History(func() history.Stats { return history.Stats{Samples: 7, Dropped: 3, Problem: "disk full"} }),
		Records(func() records.Stats { return records.Stats{Recorded: 4, Notices: 8} }),
		Forward(func() forward.Stats { return forward.Stats{Sent: 9, DroppedQueue: 2, QueuedBytes: 100} }),
		Notify(func() map[string]notify.Stats {
			return map[string]notify.Stats{"log": {Delivered: 5}, "webhook": {Delivered: 1, Waiting: 4, Problem: "away"}}
		}))
	for _, want := range []string{
		"ohmdrift_history_samples_total 7", "ohmdrift_history_dropped_samples_total 3", "ohmdrift_history_failing 1",
		"ohmdrift_records_events_total 4", "ohmdrift_records_notices_total 8",
		"ohmdrift_forward_sent_points_total 9", "ohmdrift_forward_dropped_queue_points_total 2", "ohmdrift_forward_queued_bytes 100",
		"ohmdrift_forward_queue_age_seconds 0", "ohmdrift_forward_failing 0",
		`ohmdrift_notify_delivered_total{sink="log"} 5`, `ohmdrift_notify_waiting{sink="webhook"} 4`, `ohmdrift_notify_failing{sink="webhook"} 1`,
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("no line %s", want)
		}
	}
}

// The names follow the conventions of the format (its own linter).
func TestMetricNames(t *testing.T) {
	for _, c := range []prometheus.Collector{
		History(func() history.Stats { return history.Stats{} }), Records(func() records.Stats { return records.Stats{} }),
		Forward(func() forward.Stats { return forward.Stats{} }),
		Notify(func() map[string]notify.Stats { return map[string]notify.Stats{"log": {}} }),
	} {
		problems, err := testutil.CollectAndLint(c)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			t.Errorf("%s: %s", p.Metric, p.Text)
		}
	}
}

func TestTwoOfTheSameAreRefused(t *testing.T) {
	r := New("test")
	c := Records(func() records.Stats { return records.Stats{} })
	if err := r.Register(c, c); err == nil {
		t.Error("registering the same twice must fail")
	}
}
