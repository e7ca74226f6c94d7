package daemon

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"ohmdrift/config"
	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/follow"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
	"ohmdrift/diagnostics/quantity"
)

// watched is the state of one loop for as long as its tag is in the plant, over
// reloads: its diagnostics, and the newest values for the pages. Where it is
// read and how it is described belongs to the generation. The lock is held for
// the length of one sample: pages and marks wait microseconds, polling never
// waits for a page.
type watched struct {
	tag string

	mu       sync.Mutex
	follow   *follow.Loop
	watch    *presence.Watch
	stepped  time.Time // slot of the last sample that the engine has seen
	near     neighbourly
	newest   newest
	standing standing
	baseline *diagnostics.Baseline // in force; nil = none. Not changed once set
}

// newest is what a page shows of a loop.
type newest struct {
	values  diagnostics.Assessment // the last one with values
	polled  time.Time              // slot of the last poll, answered or not
	quality measure.Quality
	problem string
}

func newWatched(l *config.Loop) (*watched, error) {
	f, err := follow.New(&l.Spec)
	if err != nil {
		return nil, err
	}
	return &watched{tag: l.Tag, follow: f, watch: presence.New(l.Tag, l.Interval)}, nil
}

// take passes one reading through the diagnostics and returns the assessment and
// the transitions it caused. mono is the reading on the clock that no one sets.
func (w *watched) take(r *devices.Reading, mono time.Time) (diagnostics.Assessment, []finding.Finding) {
	w.mu.Lock()
	defer w.mu.Unlock()
	a, said := w.step(&r.Sample)
	problem := r.Problem
	if problem == "" {
		problem = string(a.Reason)
	}
	w.keep(r, &a, problem)
	if r.DeviceChanged != "" {
		said = append(said, w.deviceChanged(r))
	}
	w.watch.Pause(w.follow.Engine().Checking())
	said = w.watch.Take(presence.Moment{Wall: r.At, Mono: mono}, a.Quality, problem, said)
	w.standing = w.standing.apply(said)
	return a, said
}

// step runs a sample through the loop's diagnostics. The caller has the lock.
func (w *watched) step(s *measure.Sample) (diagnostics.Assessment, []finding.Finding) {
	w.near.cross(s.At, w.follow.Engine())
	a, said := w.follow.Step(s, &w.near.heard, nil)
	if s.At.After(w.stepped) {
		w.stepped = s.At
	}
	return a, said
}

// recorded runs a recorded sample through the diagnostics.
func (w *watched) recorded(s *measure.Sample) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	_, said := w.step(s)
	w.standing = w.standing.apply(said)
	return said
}

func (w *watched) keep(r *devices.Reading, a *diagnostics.Assessment, problem string) {
	w.newest.polled, w.newest.quality, w.newest.problem = r.At, a.Quality, problem
	if a.Quality.Usable() {
		w.newest.values = *a
	}
}

// deviceChanged tells that another transmitter answers at the loop's address.
func (w *watched) deviceChanged(r *devices.Reading) finding.Finding {
	f := w.plain(finding.DeviceChanged, finding.Info, r.At)
	f.Evidence = r.DeviceChanged
	return f
}

// plain is a finding without numbers.
func (w *watched) plain(k finding.Kind, s finding.Severity, at time.Time) finding.Finding {
	n := quantity.Absent
	return finding.Finding{
		Time: at, Loop: w.tag, Kind: k, Severity: s, Since: at, Contact: quantity.Ohm(n), Error: quantity.DeltaC(n),
		U: quantity.DeltaC(n), POverLimit: n, Confidence: 1, Engine: presence.Engine,
	}
}

// contact returns the contact resistance of each lead beyond copper.
func (w *watched) contact() measure.Leads {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Engine().Estimate().Contact
}

// tick lets time pass: a loop that nobody hears of becomes stale.
func (w *watched) tick(now presence.Moment) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.watch.Pause(w.follow.Engine().Checking())
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

// redescribe goes on with a loop that the plant describes anew: f is its new
// diagnostics, nil when only where and how often it is read has changed. What
// was learnt stays when it still fits; otherwise the findings that rest on it
// are closed and say why.
func (w *watched) redescribe(f *follow.Loop, l *config.Loop, now time.Time) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.watch.SetInterval(l.Interval)
	if f == nil {
		return nil
	}
	err := f.Restore(w.follow.Snapshot(nil))
	until := w.follow.Engine().CheckedUntil()
	w.follow = f
	if err == nil {
		return nil
	}
	if until.After(now) { // somebody works there all the same
		f.Check(now, until)
	}
	return w.forget(now, fmt.Sprintf("the loop is described anew and learnt anew: %v", err))
}

// forget closes the findings of the diagnostics, whose state is gone. The caller
// has the lock.
func (w *watched) forget(now time.Time, why string) (said []finding.Finding) {
	for _, f := range w.standing {
		if strings.HasPrefix(f.Engine, presence.Engine) || ofPlant(&f) || f.Kind == finding.UnbalancedCable {
			continue
		}
		said = append(said, closing(f, now, why))
	}
	w.standing = w.standing.apply(said)
	return said
}

// closing is the clear of a finding for a reason outside the samples.
func closing(f finding.Finding, now time.Time, why string) finding.Finding {
	f.Time, f.State, f.Evidence, f.Forecast = now, finding.Cleared, why, nil
	return f
}

// condition returns the loop's NE 107 category: a function check is shown before
// what stands.
func (w *watched) condition() diagnostics.Condition {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.follow.Engine().Checking() {
		return diagnostics.FunctionCheck
	}
	return w.standing.condition()
}

// view returns the newest values and what stands, as they are now.
func (w *watched) view() (newest, standing) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.newest, w.standing
}
