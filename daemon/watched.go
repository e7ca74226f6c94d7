package daemon

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"ohmdrift/config"
	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/follow"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
)

// watched is one loop while the daemon runs: its description, the state of its
// diagnostics, and the newest values for the pages. The lock is held for the
// length of one sample: pages and marks wait microseconds, polling never waits
// for a page.
type watched struct {
	loop config.Loop // not changed while this generation runs

	mu        sync.Mutex
	follow    *follow.Loop
	watch     *presence.Watch
	stepped   time.Time       // slot of the last sample that the engine has seen
	neighbour drift.Neighbour // as of the previous mark
	newest    newest
	standing  standing
	said      []finding.Finding // transitions of the sample under way
}

// newest is what a page shows of a loop.
type newest struct {
	values  diagnostics.Assessment // the last one with values
	sample  measure.Sample         // that it came from
	polled  time.Time              // slot of the last poll, answered or not
	quality measure.Quality
	problem string
}

func newWatched(l *config.Loop) (*watched, error) {
	f, err := follow.New(&l.Spec)
	if err != nil {
		return nil, err
	}
	return &watched{loop: *l, follow: f, watch: presence.New(l.Tag, l.Interval)}, nil
}

// take passes one reading through the diagnostics. It returns the assessment
// and the transitions it caused; both are valid until the next call.
func (w *watched) take(r *devices.Reading) (diagnostics.Assessment, []finding.Finding) {
	w.mu.Lock()
	defer w.mu.Unlock()
	a, said := w.follow.Step(&r.Sample, &w.neighbour, w.said[:0])
	w.said = said
	w.stepped = r.At
	w.keep(r, &a)
	problem := r.Problem
	if problem == "" {
		problem = string(a.Reason)
	}
	w.said = w.watch.Take(r.At, a.Quality, problem, w.said)
	w.standing = w.standing.apply(w.said)
	return a, w.said
}

func (w *watched) keep(r *devices.Reading, a *diagnostics.Assessment) {
	w.newest.polled, w.newest.quality, w.newest.problem = r.At, a.Quality, r.Problem
	if w.newest.problem == "" {
		w.newest.problem = string(a.Reason)
	}
	if a.Quality.Usable() {
		w.newest.values, w.newest.sample = *a, r.Sample
	}
}

// contact returns the contact resistance of each lead beyond copper.
func (w *watched) contact() measure.Leads {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Engine().Estimate().Contact
}

// tick lets time pass: a loop that nobody hears of becomes stale.
func (w *watched) tick(now time.Time) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	said := w.watch.Tick(now, nil)
	w.standing = w.standing.apply(said)
	return said
}

// resume takes over what stood when the daemon stopped.
func (w *watched) resume(open []finding.Finding) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.standing = standing(nil).apply(open)
	w.watch.Resume(open)
	w.follow.Resume(open)
}

// view returns the newest values and what stands, as they are now.
func (w *watched) view() (newest, standing) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.newest, w.standing
}

// sameLoop reports whether a reload left a loop's description as it was, so that
// its state may stay.
func sameLoop(a, b *config.Loop) bool {
	return describe(a) == describe(b) && slices.Equal(a.Terminals, b.Terminals)
}

// describe writes a loop's description as text: NaN, "not given", is equal to
// itself there.
func describe(l *config.Loop) string {
	low, high := l.Sensor.Span()
	profile := ""
	if l.Profile != nil {
		profile = fmt.Sprintf("%+v", *l.Profile)
	}
	return fmt.Sprintf("%+v %v %v %v %v", l.Spec, low, high, l.Interval, profile)
}
