package replay

import (
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// Seen is what the engine saw of the explained loop: its view after a block, or
// what it said at a sample, or both.
type Seen struct {
	At    time.Time
	View  drift.View
	Block bool              // the view is that of a new block
	Said  []finding.Finding // valid until the call returns
}

// explain passes on what changed for the explained loop.
func (c *crew) explain(e *drift.Engine, s *measure.Sample, said []finding.Finding) {
	v := &c.view
	before := v.Block
	e.Explain(v)
	block := !v.Block.Equal(before) && !v.Block.IsZero()
	if block || len(said) > 0 {
		c.seen(&Seen{At: s.At, View: *v, Block: block, Said: said})
	}
}
