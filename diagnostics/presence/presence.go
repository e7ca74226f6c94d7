// Package presence turns the quality of a loop's samples into findings: a loop
// that is no longer read, a device that says it is unwell, values that cannot
// be. It is a pure state machine: time comes in with each sample or tick.
//
//	samples ── Take ──┐
//	clock   ── Tick ──┴─ Watch ─ raised / cleared findings
//
// Two laws hold for any history: only usable samples clear a finding, and a
// condition shorter than its on-delay raises none. Durations are measured on a
// clock that nobody sets, so a step of the wall clock makes nothing stale.
package presence

import (
	"fmt"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Engine is the version that the findings of this package carry.
const Engine = "presence-1"

// Moment is one instant on two clocks: the wall clock, which stands in findings,
// and one that only runs forward, by which durations are told. A replay gives
// the sample's own time for both.
type Moment struct{ Wall, Mono time.Time }

// At is a moment whose two clocks are one.
func At(t time.Time) Moment { return Moment{t, t} }

// Watch follows one loop. Make it with New.
type Watch struct {
	tag      string
	stale    time.Duration
	class    class // class of the present run of samples
	run      int   // samples in the run
	settled  bool  // it is long enough to be told
	runStart Moment
	lastGood Moment // last usable sample; zero = none yet
	began    Moment // first sample or tick
	problem  string
	open     [classes]finding.Finding // standing findings by class; zero Time = none
	paused   bool                     // somebody works at the loop
}

// class groups the qualities that one finding explains.
type class uint8

const (
	usable      class = iota
	silent            // no answer: stale
	unwell            // device status, wrong register map: device-fault
	impossible        // invalid or out of range: implausible
	stuck             // frozen: value-frozen
	classes           // how many there are
	neverRaised = classes
)

func classOf(q measure.Quality) class {
	switch q {
	case measure.Good, measure.Late:
		return usable
	case measure.Device, measure.Configuration:
		return unwell
	case measure.Invalid, measure.OutOfRange:
		return impossible
	case measure.Frozen:
		return stuck
	case measure.Skewed:
		return neverRaised // one skewed sample is dropped; a run of them shows as silence
	}
	return silent
}

var kinds = [classes]finding.Kind{silent: finding.Stale, unwell: finding.DeviceFault, impossible: finding.Implausible, stuck: finding.ValueFrozen}

var severities = [classes]finding.Severity{silent: finding.Maintenance, unwell: finding.Failure, impossible: finding.Failure, stuck: finding.Maintenance}

const (
	staleIntervals = 3                // design rule: stale is older than 3 intervals
	staleFloor     = 30 * time.Second // and 30 s
	minRun         = 3                // one bad sample is noise, three in a row are a state (common practice)
)

// New returns the watch of a loop that is read every interval.
func New(tag string, interval time.Duration) *Watch {
	return &Watch{tag: tag, stale: max(staleIntervals*interval, staleFloor)}
}

// Pause lets nothing begin or end while on: in a function check what is missing is
// the hand's doing. Samples and time are followed, so that after it what lasts is
// told at once.
func (w *Watch) Pause(on bool) { w.paused = on }

// StaleAfter returns the age beyond which the loop's value is stale.
func (w *Watch) StaleAfter() time.Duration { return w.stale }

// SetInterval takes over a changed polling interval.
func (w *Watch) SetInterval(d time.Duration) { w.stale = max(staleIntervals*d, staleFloor) }

// Take follows one sample; problem says in words why its quality is not good.
// Findings that begin or end are appended to out.
func (w *Watch) Take(at Moment, q measure.Quality, problem string, out []finding.Finding) []finding.Finding {
	if w.began.Mono.IsZero() {
		w.began = at
	}
	c := classOf(q)
	if c != w.class || w.run == 0 {
		w.class, w.run, w.runStart = c, 0, at
	}
	w.run++
	if c != usable {
		w.problem = problem
	}
	w.settled = w.run >= minRun && at.Mono.Sub(w.runStart.Mono) >= min(w.stale, staleFloor)
	switch {
	case c == usable:
		w.lastGood = at
		if w.settled && !w.paused {
			out = w.clearAll(at, out)
		}
	case w.settled && c != silent && c != neverRaised:
		out = w.raise(c, at, w.runStart, out)
	}
	return w.Tick(at, out)
}

// Tick lets time pass without a sample: a loop without a usable value for
// longer than StaleAfter raises stale, unless another finding explains it.
func (w *Watch) Tick(now Moment, out []finding.Finding) []finding.Finding {
	if w.began.Mono.IsZero() {
		w.began = now
	}
	since := w.lastGood
	if since.Mono.IsZero() {
		since = w.began
	}
	limit := w.stale
	if w.class == unwell || w.class == impossible || w.class == stuck {
		limit += staleFloor // the device answers: its own finding says more, and is on its way
	}
	if now.Mono.Sub(since.Mono) <= limit || w.explained() {
		return out
	}
	if c := w.class; w.settled && c > silent && c < neverRaised { // it was held back by a pause
		return w.raise(c, now, w.runStart, out)
	}
	return w.raise(silent, now, since, out)
}

// Open appends the standing findings.
func (w *Watch) Open(out []finding.Finding) []finding.Finding {
	for _, f := range w.open {
		if !f.Time.IsZero() {
			out = append(out, f)
		}
	}
	return out
}

// Resume takes over findings that stood when the daemon stopped, so that a
// restart neither repeats nor forgets them.
func (w *Watch) Resume(standing []finding.Finding) {
	for _, f := range standing {
		for c, k := range kinds {
			if k != "" && k == f.Kind {
				w.open[c] = f
			}
		}
	}
}

func (w *Watch) explained() bool {
	for c := silent; c < classes; c++ {
		if !w.open[c].Time.IsZero() {
			return true
		}
	}
	return false
}

func (w *Watch) raise(c class, at, since Moment, out []finding.Finding) []finding.Finding {
	if w.paused || !w.open[c].Time.IsZero() {
		return out
	}
	f := w.finding(c, at, since)
	w.open[c] = f
	return append(out, f)
}

func (w *Watch) clearAll(at Moment, out []finding.Finding) []finding.Finding {
	for c := range w.open {
		if w.open[c].Time.IsZero() {
			continue
		}
		f := w.open[c]
		f.Time, f.State = at.Wall, finding.Cleared
		f.Evidence = fmt.Sprintf("%d good samples in a row since %s", w.run, w.runStart.Wall.UTC().Format(time.RFC3339))
		w.open[c] = finding.Finding{}
		out = append(out, f)
	}
	return out
}

func (w *Watch) finding(c class, at, since Moment) finding.Finding {
	n := quantity.Absent
	return finding.Finding{
		Time: at.Wall, Loop: w.tag, Kind: kinds[c], State: finding.Raised, Severity: severities[c], Since: since.Wall,
		Contact: quantity.Ohm(n), Error: quantity.DeltaC(n), U: quantity.DeltaC(n), POverLimit: n,
		Confidence: 1, Engine: Engine, Evidence: w.evidence(c, at, since),
	}
}

func (w *Watch) evidence(c class, at, since Moment) string {
	age := at.Mono.Sub(since.Mono).Round(time.Second)
	switch {
	case c == silent && w.lastGood.Mono.IsZero() && w.problem == "":
		return fmt.Sprintf("no value has ever come in %s of polling", age)
	case c == silent && w.problem == "":
		return fmt.Sprintf("no usable value for %s", age)
	case c == silent:
		return fmt.Sprintf("no usable value for %s: %s", age, w.problem)
	}
	return fmt.Sprintf("%d samples in a row over %s: %s", w.run, age, w.problem)
}
