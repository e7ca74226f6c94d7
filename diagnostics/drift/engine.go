package drift

import (
	"fmt"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// Engine follows one loop. It is a plain value owned by one goroutine: copy it
// to keep a state, compare copies to prove that nothing changed. Build it with
// New.
type Engine struct {
	spec *diagnostics.Spec // never written
}

// New returns an engine that knows nothing yet but the loop's specification.
// It reports an error for a specification that cannot be followed.
func New(spec *diagnostics.Spec) (*Engine, error) {
	if n := len(spec.Leads()); n == 0 {
		return nil, fmt.Errorf("%s: %d wires: want 2, 3 or 4", spec.Tag, spec.Wires)
	}
	return &Engine{spec: spec}, nil
}

// Step takes the next sample and appends to out what changed. A sample older
// than the one before is ignored. nb may be nil. Nothing is allocated unless a
// finding is appended.
func (e *Engine) Step(s *measure.Sample, nb *Neighbour, out []finding.Finding) []finding.Finding {
	return out
}

// Estimate returns what is known of the newest full hour.
func (e *Engine) Estimate() Estimate { return Estimate{} }

// Open appends the findings that stand.
func (e *Engine) Open(out []finding.Finding) []finding.Finding { return out }

// Forecast returns when the loop leaves its limit, as of the newest sample.
func (e *Engine) Forecast() finding.Forecast { return finding.Forecast{State: finding.CannotTell} }

// Journal takes an entry that a person made and appends what it clears.
func (e *Engine) Journal(at time.Time, en Entry, out []finding.Finding) []finding.Finding { return out }

// Publish returns what the loop tells its plant at a mark.
func (e *Engine) Publish() Published { return Published{} }

// Explain fills v with what the engine saw and decided.
func (e *Engine) Explain(v *View) {}

// Snapshot appends the whole state to b.
func (e *Engine) Snapshot(b []byte) []byte { return b }

// Restore takes a state written by Snapshot of the same or an older version.
func (e *Engine) Restore(b []byte) error { return nil }
