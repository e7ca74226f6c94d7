package web

import (
	"context"
	"errors"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Source is what the pages show. The daemon implements it; every method is
// called from many goroutines at once and returns values that nobody changes
// afterwards.
type Source interface {
	// Overview returns every loop, in any order. It is called at most once a
	// second for all open streams together, and once for each page or answer.
	Overview() Overview
	// Loop returns all there is to show of one loop; false = no such tag.
	Loop(tag string) (Loop, bool)
	// Trend hands over the recorded values of a loop from from (included) to to
	// (excluded), in time order. step is the width of one point of the picture:
	// a source may hand over finer points (they are decimated to minimum, mean
	// and maximum here) or roll-ups no coarser than step. It returns
	// ErrUnknownLoop for a tag it does not have.
	Trend(ctx context.Context, tag string, from, to time.Time, step time.Duration, each func(TrendPoint)) error
	// Progress says how polling is getting on; it is cheap.
	Progress() Progress
}

// ErrUnknownLoop is returned by Source.Trend for a tag it does not have.
var ErrUnknownLoop = errors.New("no such loop")

// Overview is every loop at one moment.
type Overview struct {
	Site  string
	Loops []Row
}

// Row is one loop as the table shows it.
type Row struct {
	Spec *diagnostics.Spec // never changed after it was handed out

	Values  diagnostics.Assessment // the last one that had values, with its time At; zero At = none yet
	Polled  time.Time              // slot of the last poll, answered or not; zero = never polled
	Quality measure.Quality        // of the last poll; a page adds stale by itself when At is too old
	Problem string                 // what is wrong and what to do, empty when good

	Condition diagnostics.Condition
	Standing  *finding.Finding // the worst open finding, nil = nothing stands
	Open      int              // how many findings are open
}

// failed reports whether the worst finding is a failure, in a function check as well.
func (r *Row) failed() bool { return r.Standing != nil && r.Standing.Severity == finding.Failure }

// Loop is one loop as its own page shows it.
type Loop struct {
	Row
	Findings  []finding.Finding // open, worst first
	Contact   measure.Leads     // contact resistance beyond copper, Ω; NaN = not known
	Terminals []Terminal        // the terminal run; empty where the plant does not list it
	Link      string            // name of the link
	Unit      uint8             // unit behind it
	Profile   string            // name of the register map

	History       time.Time // oldest stored value; zero = none
	RecordedUntil time.Time // values before this are a recorded past, replayed; zero = none are
}

// Terminal is one terminal point of a lead's run. It has the fields of
// config.Terminal, so that one converts to the other.
type Terminal struct {
	Lead      measure.Lead
	Order     int // from the element, 1 first; leads at the same order share an enclosure
	Enclosure string
	Strip     string
	Terminal  string
}

// TrendPoint is one recorded moment of a loop. NaN = not known.
type TrendPoint struct {
	At      time.Time
	Error   quantity.DeltaC // the reading error that counts
	U       quantity.DeltaC // its expanded uncertainty, about 95 %
	Contact measure.Leads   // contact resistance beyond copper, Ω
}

// Progress is how polling is getting on.
type Progress struct {
	Started        time.Time     // when the daemon began to poll
	LastPoll       time.Time     // when a poll last ended, answered or not; zero = none yet
	PollsPerSecond float64       // over the last ten seconds or so
	StallAfter     time.Duration // without a finished poll for longer, polling counts as stalled; 0 = 30 s
}
