package daemon_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"go.uber.org/goleak"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/demo"
	"ohmdrift/daemon/history"
	"ohmdrift/daemon/records"
	"ohmdrift/deploy/example"
	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics/measure"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// larkfield starts the simulated transmitters of the example plant and returns
// the plant as a daemon with its own data folder would load it.
func larkfield(t *testing.T, interval time.Duration) (*config.Plant, *plant.Plant) {
	t.Helper()
	return larkfieldOf(t, interval, 1)
}

// larkfieldOf is larkfield with every nth loop only.
func larkfieldOf(t *testing.T, interval time.Duration, nth int) (*config.Plant, *plant.Plant) {
	t.Helper()
	p, err := config.LoadFS(example.Files, example.Main)
	if err != nil {
		t.Fatal(err)
	}
	all := p.Loops
	p.Loops = nil
	for i := 0; i < len(all); i += nth {
		p.Loops = append(p.Loops, all[i])
	}
	conf := demo.PlantConfig(p)
	conf.Seed, conf.Chosen = 1, true
	for i := range conf.Links {
		conf.Links[i] = "127.0.0.1:0"
	}
	sim, err := plant.New(conf)
	if err != nil {
		t.Fatal(err)
	}
	bound, err := sim.Listen()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(sim.Close)
	for i := range p.Links {
		p.Links[i].URL = "tcp://" + bound[i]
	}
	for i := range p.Loops {
		p.Loops[i].Interval, p.Loops[i].Spec.Interval = interval, interval
	}
	p.Store.Dir, p.Influx, p.Alerts = filepath.Join(t.TempDir(), "data"), nil, config.Alerts{}
	return p, sim
}

// copyPlant returns a plant that can be changed without changing p.
func copyPlant(p *config.Plant) *config.Plant {
	q := *p
	q.Links, q.Loops = slices.Clone(p.Links), slices.Clone(p.Loops)
	return &q
}

// running runs d until the returned function is called.
func running(t *testing.T, d *daemon.Daemon) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx, nil) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	}
}

// until waits for the daemon to have delivered so many polls.
func until(t *testing.T, d *daemon.Daemon, polls uint64) {
	t.Helper()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for d.Counts().Polls < polls {
		select {
		case <-t.Context().Done():
			t.Fatal("the test ended before the polls came")
		case <-tick.C:
		}
	}
}

// slots returns the poll slots on record of a loop.
func slots(t *testing.T, dir, tag string) []time.Time {
	t.Helper()
	h, err := history.Open(dir, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	ps, err := h.Range(t.Context(), tag, history.Quality, time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	at := make([]time.Time, len(ps))
	for i, p := range ps {
		at[i] = p.At
	}
	return at
}

func TestReloadMissesNoPoll(t *testing.T) {
	t.Parallel() // it waits for polls most of the time
	p, _ := larkfield(t, time.Second)
	d, err := daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	stop := running(t, d)
	until(t, d, 2*60)
	next := copyPlant(p)
	next.Loops[7].LimitHigh, next.Loops[7].LimitLow = 0.4, -0.4
	if err := d.Reload(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	until(t, d, 4*60)
	bad := copyPlant(next)
	bad.Store.Dir = "elsewhere"
	if err := d.Reload(t.Context(), bad); err == nil {
		t.Error("a data folder was changed while running")
	}
	until(t, d, 5*60)
	stop()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	for i := range p.Loops {
		at := slots(t, p.Store.Dir, p.Loops[i].Tag)
		if len(at) < 4 {
			t.Fatalf("%s: %d polls on record, want at least 4", p.Loops[i].Tag, len(at))
		}
		for k := 1; k < len(at); k++ {
			if gap := at[k].Sub(at[k-1]); gap != time.Second {
				t.Errorf("%s: %s between two slots over a reload, want 1 s", p.Loops[i].Tag, gap)
			}
		}
	}
}

// A daemon that is stopped and started again knows what stood, and says nothing
// new because of the restart alone.
func TestRestartSaysNothingAndForgetsNothing(t *testing.T) {
	p, sim := larkfieldOf(t, time.Second, 5)
	d, err := daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	to := time.Now().Truncate(10 * time.Minute)
	from := to.Add(-60 * 24 * time.Hour)
	n, err := d.Recall(t.Context(), func(yield func(string, *measure.Sample) bool) {
		for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
			for i := range p.Loops {
				s := sim.SampleAt(i, at)
				if !yield(p.Loops[i].Tag, &s) {
					return
				}
			}
		}
	})
	if want := 12 * 60 * 144; err != nil || n != want {
		t.Fatalf("recalled %d samples, err %v; want %d", n, err, want)
	}
	stop := running(t, d)
	until(t, d, 12)
	stop()
	before := summary(d)
	if len(before) == 0 {
		t.Fatal("the seed's degrading loops were not found in 60 days of past")
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	events := countEvents(t, p)
	d, err = daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if after := summary(d); !slices.Equal(before, after) {
		t.Errorf("before the restart %v\nafter it %v", before, after)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if again := countEvents(t, p); again != events {
		t.Errorf("%d events on record before the restart, %d after it", events, again)
	}
}

func summary(d *daemon.Daemon) []string {
	var s []string
	for _, f := range d.Standing() {
		s = append(s, fmt.Sprintf("%s %s %v %s", f.Loop, f.Kind, f.Leads.Names(), f.Severity))
	}
	slices.Sort(s)
	return s
}

func countEvents(t *testing.T, p *config.Plant) int {
	t.Helper()
	r, err := records.Open(p.Store.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	n := 0
	for i := range p.Loops {
		es, err := r.Events(t.Context(), p.Loops[i].Tag)
		if err != nil {
			t.Fatal(err)
		}
		n += len(es)
	}
	return n
}

func TestOneDaemonPerDataFolder(t *testing.T) {
	p, _ := larkfield(t, time.Second)
	d, err := daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	if second, err := daemon.Open(p, daemon.Options{}); err == nil {
		second.Close()
		t.Fatal("a second daemon opened the same data folder")
	}
}
