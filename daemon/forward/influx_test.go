package forward_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/influxtest"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// outage is how long the server stays away; a minute is
// go test ./daemon/forward -run Outage -outage 1m -v
var outage = flag.Duration("outage", 2*time.Second, "length of the outage of the server")

var base = time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)

// result is a poll whose numbers follow from i.
func result(i int) (*diagnostics.Assessment, *measure.Sample) {
	s := measure.Empty(base.Add(time.Duration(i)*time.Second), measure.Good)
	nan := math.NaN()
	a := diagnostics.Assessment{At: s.At, Leads: measure.NoLeads(), Sensor: 138.5055, Reading: 100, SinceCal: nanC(), USinceCal: nanC(), Tolerance: nanC(), ShareTolerance: nan, ShareLimit: nan, POverLimit: nan}
	a.Leads[measure.A1], a.Leads[measure.B1] = 0.25, 0.5
	a.Imbalance, a.Error, a.U = -0.25, -0.65, 0.01
	return &a, &s
}

// running is a forwarder at work on a store of its own.
type running struct {
	*forward.Forwarder
	store *records.Store
	log   *bytes.Buffer
	stop  func()
}

func run(t *testing.T, o forward.Options) *running {
	t.Helper()
	store, err := records.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	r := &running{store: store, log: &bytes.Buffer{}}
	o.Log = zerolog.New(zerolog.SyncWriter(r.log))
	if o.Spool == 0 {
		o.Spool = 20 * time.Millisecond
	}
	if o.RetryMin == 0 {
		o.RetryMin, o.RetryMax = 20*time.Millisecond, 200*time.Millisecond
	}
	if r.Forwarder, err = forward.New(o, store); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	stopped := false
	r.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(func() {
		r.stop()
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

func (r *running) until(t *testing.T, what string, ok func(forward.Stats) bool) forward.Stats {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	end := time.After(30 * time.Second)
	for {
		s := r.Stats()
		if ok(s) {
			return s
		}
		select {
		case <-tick.C:
		case <-end:
			t.Fatalf("%s did not happen; %+v\n%s", what, s, r.log)
		}
	}
}

func options(s *influxtest.Server) forward.Options {
	return forward.Options{URL: s.URL, Org: "any", Bucket: s.Bucket}
}

func TestPointsAreReadBack(t *testing.T) {
	t.Parallel()
	server := influxtest.Start(t)
	r := run(t, options(server))
	a, s := result(0)
	const tag = `TT 12,04=x\`
	r.Add("", "Media, prep=1", tag, a, s)
	r.until(t, "one point sent", func(s forward.Stats) bool { return s.Sent == 1 })

	got := map[string]string{}
	for _, row := range server.Flux(fmt.Sprintf(`from(bucket: %q) |> range(start: 2026-03-01T00:00:00Z, stop: 2026-03-02T00:00:00Z)`, server.Bucket)) {
		if row["_measurement"] != "rtd" || row["site"] != "-" || row["area"] != "Media, prep=1" || row["loop"] != "TT 12,04=x/" {
			t.Fatalf("row %v: want measurement rtd, site -, area and loop as given, the backslash as /", row)
		}
		if row["_time"] != "2026-03-01T08:00:00Z" {
			t.Errorf("time %s, want the poll slot", row["_time"])
		}
		got[row["_field"]] = row["_value"]
	}
	want := map[string]float64{"a1_ohm": 0.25, "b1_ohm": 0.5, "sensor_ohm": 138.5055, "reading_degC": 100, "imbalance_ohm": -0.25, "error_degC": -0.65, "u_degC": 0.01, "spread": 0, "corrected_degC": 0, "quality": 0}
	for name, w := range want {
		if v, err := strconv.ParseFloat(got[name], 64); err != nil || v != w {
			t.Errorf("field %s = %q, want %g", name, got[name], w)
		}
	}
	if len(got) != len(want) {
		t.Errorf("fields %v: what is not known must be absent, want %d fields", got, len(want))
	}
}

func TestOutageLosesNothing(t *testing.T) {
	t.Parallel()
	server := influxtest.Start(t)
	r := run(t, options(server))
	const loops = 20
	var polls int
	poll := func(n int, pace time.Duration) {
		tick := time.NewTicker(pace)
		defer tick.Stop()
		for range n {
			for l := range loops {
				a, s := result(polls)
				r.Add("Larkfield", "Fermentation", "TT-"+strconv.Itoa(1000+l), a, s)
			}
			polls++
			<-tick.C
		}
	}
	const pace = 20 * time.Millisecond
	poll(25, pace)
	r.until(t, "the first points sent", func(s forward.Stats) bool { return s.Sent > 0 })

	server.Stop()
	start := time.Now()
	poll(int(*outage/pace), pace)
	away := time.Since(start)
	during := r.until(t, "the outage noticed", func(s forward.Stats) bool { return s.Problem != "" && s.QueuedPoints > 0 })
	server.Restart()
	restarted := time.Now()
	poll(25, pace)
	total := uint64(polls * loops)
	end := r.until(t, "all points sent", func(s forward.Stats) bool {
		if s.Sent+uint64(s.QueuedPoints) > s.Added {
			t.Errorf("%+v: a point counts as sent and still waits", s)
		}
		return s.Sent == total && s.Problem == ""
	})
	t.Logf("outage %s: %d points queued in %d bytes, %d failed calls, all %d sent %s after the server was back", away.Round(time.Millisecond),
		during.QueuedPoints, during.QueuedBytes, end.FailedCalls, total, time.Since(restarted).Round(time.Millisecond))

	if n := server.Count("error_degC"); n != int(total) {
		t.Errorf("server has %d points, want %d", n, total)
	}
	if d := end.DroppedBuffer + end.DroppedQueue + end.Quarantined; d != 0 || end.QueuedBatches != 0 {
		t.Errorf("%+v: want nothing dropped, nothing left", end)
	}
	r.stop()
	for _, msg := range []string{"do not reach", "reach the time-series server again"} {
		if n := strings.Count(r.log.String(), msg); n != 1 {
			t.Errorf("log has %q %d times, want once:\n%s", msg, n, r.log)
		}
	}
}

func TestBadLinesAreSetAside(t *testing.T) {
	t.Parallel()
	server := influxtest.Start(t)
	// Another program has written the field of one series as a string: the
	// server refuses our float there (field type conflict) and takes the rest.
	writeRaw(t, server, `rtd,area=A,loop=TT-0007,site=L device_temp_degC="warm" 1772352000`)
	o := options(server)
	o.Spool = 300 * time.Millisecond // both in one batch
	r := run(t, o)
	for i := range 50 {
		a, s := result(i)
		if i == 31 {
			s.DeviceTemp = 40
		}
		r.Add("L", "A", "TT-"+strconv.Itoa(i), a, s)
	}
	s := r.until(t, "49 points sent", func(s forward.Stats) bool { return s.Sent == 49 })
	if s.Quarantined != 1 || s.PartialWrites == 0 || s.QueuedBatches != 0 {
		t.Errorf("%+v: want one line in quarantine and an empty queue", s)
	}
	bad, err := r.store.Quarantined(t.Context(), 10)
	if err != nil || len(bad) != 1 || !strings.Contains(bad[0].Text, "loop=TT-31,") || !strings.Contains(bad[0].Reason, "field type conflict") {
		t.Errorf("quarantine %v %v: want the line of TT-31 and why", bad, err)
	}
	if n := server.Count("error_degC"); n != 49 {
		t.Errorf("server has %d points, want 49", n)
	}
}

func nanC() quantity.DeltaC { return quantity.DeltaC(math.NaN()) }

func writeRaw(t *testing.T, s *influxtest.Server, line string) {
	t.Helper()
	resp, err := http.Post(s.URL+"/api/v2/write?precision=s&bucket="+url.QueryEscape(s.Bucket), "text/plain", strings.NewReader(line))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusNoContent {
		t.Fatalf("write by hand: %s", resp.Status)
	}
}
