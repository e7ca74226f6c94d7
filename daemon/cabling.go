package daemon

import (
	"time"

	"ohmdrift/diagnostics/finding"
)

// cabling tells what the plant's description alone says of a cable (a long
// extension without a balance record), when that has changed since it was last
// told: a start with the same plant says nothing.
func (d *Daemon) cabling(g *generation) {
	now := time.Now()
	var said []finding.Finding
	for _, w := range g.loops {
		said = append(said, w.cabling(now)...)
	}
	d.record.add(said)
}

func (w *watched) cabling(now time.Time) (said []finding.Finding) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f, unbalanced := w.follow.Assess().Unbalanced()
	standing := w.standing.find(finding.UnbalancedCable)
	switch {
	case unbalanced && standing == nil:
		f.Kind, f.Time, f.Since = finding.UnbalancedCable, now, now
		said = append(said, f)
	case !unbalanced && standing != nil:
		f = *standing
		f.Time, f.State = now, finding.Cleared
		f.Evidence = "the plant's description now holds a balance record, or a cable that needs none"
		said = append(said, f)
	}
	w.standing = w.standing.apply(said)
	return said
}
