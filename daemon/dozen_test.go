package daemon

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/deploy/example"
	"ohmdrift/devices"
	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/follow"
	"ohmdrift/diagnostics/measure"
)

// dozenTags are twelve loops of the example over all its links: four of one box,
// three and two of others, and every report level.
var dozenTags = []string{
	"TT-2101", "TT-2102", "TT-2103", "TT-2104", "TT-2211", "TT-2212", "TT-2213", "TT-2301", "TT-2401", "TT-2501", "TT-2701", "TT-2702",
}

// Loops of the dozen by number.
const (
	growing  = 0 // with grows: a contact in a1 that is found within a month
	growing2 = 1 // in the same box
	sound    = 5
	sums     = 8 // made to report one sum of leads only, see sumAmongNeighbours
)

// dozen returns a plant of twelve loops with a data folder of its own.
func dozen(t testing.TB) *config.Plant {
	t.Helper()
	p, err := config.LoadFS(example.Files, example.Main)
	if err != nil {
		t.Fatal(err)
	}
	p.Loops = slices.DeleteFunc(p.Loops, func(l config.Loop) bool { return !slices.Contains(dozenTags, l.Tag) })
	if len(p.Loops) != len(dozenTags) || len(p.Links) != 6 {
		t.Fatalf("%d loops over %d links in the dozen, want %d over 6", len(p.Loops), len(p.Links), len(dozenTags))
	}
	for i := range p.Links { // nothing listens there: what these tests poll is at once refused
		p.Links[i].URL = "tcp://127.0.0.1:1"
	}
	p.Store.Dir, p.Influx, p.Alerts = filepath.Join(t.TempDir(), "data"), nil, config.Alerts{}
	return p
}

// changed returns a copy of a plant after a change.
func changed(p *config.Plant, change func(*config.Plant)) *config.Plant {
	q := *p
	q.Links, q.Loops = slices.Clone(p.Links), slices.Clone(p.Loops)
	change(&q)
	return &q
}

// opened opens a daemon that is closed with the test.
func opened(t testing.TB, p *config.Plant, log ...*strings.Builder) *Daemon {
	t.Helper()
	o := Options{}
	if len(log) > 0 {
		o.Log = zerolog.New(log[0])
	}
	d, err := Open(p, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() }) // a second Close of the same is harmless
	return d
}

// past is simulated samples of a plant's loops, every ten minutes.
type past struct {
	sim   *plant.Plant
	plant *config.Plant
	only  []int // loops that are sampled; empty = all
}

// grows is a plant in which two contacts of one box begin to grow 25 days before
// the end.
func grows(t testing.TB, p *config.Plant, end time.Time) past {
	t.Helper()
	conf := plant.Config{Seed: 1, Start: end, Loops: make([]plant.Loop, len(p.Loops))}
	for i := range p.Loops {
		l := &p.Loops[i]
		conf.Loops[i] = plant.Loop{Spec: l.Spec, Link: -1, Unit: l.Unit, Base: l.Base, Profile: l.Profile}
	}
	for _, i := range []int{growing, growing2} {
		conf.Faults = append(conf.Faults, plant.Placed{Loop: i, Fault: plant.Fault{
			Kind: plant.Linear, Lead: measure.A1, Onset: end.Add(time.Duration(i-25) * day), Size: 2, Life: 30 * day,
		}})
	}
	sim, err := plant.New(conf)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(sim.Close)
	return past{sim: sim, plant: p}
}

const day = 24 * time.Hour

// each yields the samples with from ≤ time < to, in time order over all loops.
func (a past) each(from, to time.Time) func(func(string, *measure.Sample) bool) {
	return func(yield func(string, *measure.Sample) bool) {
		for at := from; at.Before(to); at = at.Add(drift.Mark) {
			for i := range a.plant.Loops {
				if len(a.only) > 0 && !slices.Contains(a.only, i) {
					continue
				}
				s := a.sim.SampleAt(i, at)
				if !yield(a.plant.Loops[i].Tag, &s) {
					return
				}
			}
		}
	}
}

// lived runs the past through the daemon's diagnostics and records what is said,
// without storing the samples.
func lived(t testing.TB, d *Daemon, a past, from, to time.Time) {
	t.Helper()
	r := &recall{d: d, g: d.current(), ctx: t.Context()}
	for tag, s := range a.each(from, to) {
		if !r.take(tag, s) {
			t.Fatal(r.err)
		}
	}
	if r.write(); r.err != nil {
		t.Fatal(r.err)
	}
}

// month opens a daemon that has lived through 40 days of the loops of grows.
func month(t testing.TB, p *config.Plant, log ...*strings.Builder) *Daemon {
	t.Helper()
	d := opened(t, p, log...)
	end := time.Now().Truncate(drift.Mark)
	a := grows(t, p, end)
	a.only = []int{growing, growing2} // the others do not matter here
	lived(t, d, a, end.Add(-40*day), end)
	if f := standingOf(d, growing).find(finding.LeadDrift); f == nil {
		t.Fatalf("the growing contact was not found in 40 days: %v", standingOf(d, growing))
	}
	return d
}

func standingOf(d *Daemon, i int) standing {
	_, s := d.current().loops[i].view()
	return s
}

// onRecord returns what is open on record of a loop, by kind.
func onRecord(t testing.TB, d *Daemon, tag string) map[finding.Kind]finding.Finding {
	t.Helper()
	fs, err := d.records.OpenFindings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	open := map[finding.Kind]finding.Finding{}
	for _, f := range fs {
		if f.Loop == tag {
			open[f.Kind] = f
		}
	}
	return open
}

func events(t testing.TB, d *Daemon, tag string) []finding.Finding {
	t.Helper()
	fs, err := d.records.Events(t.Context(), tag)
	if err != nil {
		t.Fatal(err)
	}
	return fs
}

// recordAll writes what waits.
func recordAll(t testing.TB, d *Daemon) {
	t.Helper()
	if err := d.record.drain(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func reload(t testing.TB, d *Daemon, p *config.Plant) {
	t.Helper()
	if err := d.Reload(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	recordAll(t, d)
}

// read is a reading without a value, of a quality.
func read(at time.Time, q measure.Quality) *devices.Reading {
	return &devices.Reading{Sample: measure.Empty(at, q)}
}

func (w *watched) diagnostics() *follow.Loop {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow
}

func viewOf(w *watched) (v drift.View) {
	w.diagnostics().Engine().Explain(&v)
	return v
}
