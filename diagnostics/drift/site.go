package drift

import (
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// Site joins the loops of a plant: what neighbours say about the copper, and
// boxes whose loops go bad together. Between two marks every loop may be stepped
// in any order, by any goroutine; at the mark one goroutine puts every loop's
// values and calls Mark.
type Site struct{ loops []*diagnostics.Spec }

// NewSite returns the plant level for loops with the given specifications; the
// index of a loop is its number in every other call.
func NewSite(loops []*diagnostics.Spec) *Site { return &Site{loops: loops} }

// Put takes what one loop publishes at the coming mark. A loop that is not put
// keeps its last values.
func (s *Site) Put(loop int, p Published) {}

// Mark closes the interval that ends at at: neighbour values become those of
// the values put, and findings about boxes are appended to out.
func (s *Site) Mark(at time.Time, out []finding.Finding) []finding.Finding { return out }

// Neighbour returns what the neighbours of a loop say as of the last mark.
func (s *Site) Neighbour(loop int) *Neighbour { return &Neighbour{} }

// Snapshot appends the whole state to b.
func (s *Site) Snapshot(b []byte) []byte { return b }

// Restore takes a state written by Snapshot for the same loops.
func (s *Site) Restore(b []byte) error { return nil }
