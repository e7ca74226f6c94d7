package drift

import (
	"time"

	"ohmdrift/diagnostics/finding"
)

// common is what stands about a box.
type common struct{ Since int64 }

// together looks for loops of one box that went bad together.
func (s *Site) together(b *box, at time.Time, out []finding.Finding) []finding.Finding { return out }
