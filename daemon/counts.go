package daemon

import (
	"slices"

	"ohmdrift/diagnostics/finding"
)

// Counts says what the daemon has done since Open, each number counted where it
// happens.
type Counts struct {
	Polls        uint64 // loop polls delivered by the poller
	Good         uint64 // of these, of good quality
	StoredValues uint64 // numbers written to the history, a recorded past included
	PointsSent   uint64 // points that the plant's database took
}

// Counts returns the counters.
func (d *Daemon) Counts() Counts {
	var c Counts
	for _, l := range d.poller.Stats() {
		c.Polls += l.Polls
		c.Good += l.Good
	}
	h := d.history.Stats()
	c.StoredValues = h.Values
	if d.forward != nil {
		c.PointsSent = d.forward.Stats().Sent
	}
	return c
}

// Standing returns every finding that stands, worst first; one about a box once.
func (d *Daemon) Standing() []finding.Finding {
	var all []finding.Finding
	boxes := map[string]bool{}
	for _, w := range d.current().loops {
		_, s := w.view()
		for _, f := range s {
			if f.Kind == finding.BoxCommonCause {
				box := f.Loop + "\x00" + f.Box // names of boxes repeat between areas
				if boxes[box] {
					continue
				}
				boxes[box] = true
			}
			all = append(all, f)
		}
	}
	slices.SortStableFunc(all, func(a, b finding.Finding) int { return int(b.Severity) - int(a.Severity) })
	return all
}
