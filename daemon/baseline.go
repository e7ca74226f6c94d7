package daemon

import (
	"context"
	"fmt"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// AcceptBaseline makes the given state of a loop's leads the one from which its
// error since calibration counts, on record with who proposed and accepted it.
func (d *Daemon) AcceptBaseline(ctx context.Context, b records.Baseline) error {
	d.reload.Lock()
	defer d.reload.Unlock()
	w := d.current().find(b.Loop)
	if w == nil {
		return fmt.Errorf("baseline: no loop %q in the plant", b.Loop)
	}
	trial, err := diagnostics.NewLoop(*w.spec())
	if err != nil {
		return err
	}
	if err := trial.SetBaseline(b.Leads); err != nil {
		return err
	}
	if err := d.records.AcceptBaseline(ctx, b); err != nil {
		return err
	}
	said, err := w.accept(b.Leads)
	d.record.add(said)
	d.entered(ctx, w)
	return err
}

// accept puts a baseline into force and learns the loop anew from its newest
// sample on: what was told against the state before is taken back.
func (w *watched) accept(b diagnostics.Baseline) ([]finding.Finding, error) {
	if err := w.setBaseline(b); err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.stepped.IsZero() {
		return nil, nil // nothing was learnt yet
	}
	said := w.follow.Journal(w.stepped, drift.BaselineAccepted, nil)
	w.standing = w.standing.apply(said)
	return said, nil
}

// spec returns the description that the loop's diagnostics were built from.
func (w *watched) spec() *diagnostics.Spec {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Assess().Spec()
}

func (w *watched) setBaseline(b diagnostics.Baseline) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.follow.Assess().SetBaseline(b); err != nil {
		return err
	}
	w.baseline = &b
	return nil
}

// basis is what a second run of the loop's diagnostics starts from.
func (w *watched) basis() (*diagnostics.Spec, *diagnostics.Baseline) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Assess().Spec(), w.baseline
}

// baselines puts what is on record back into force. One that no longer fits its
// loop (another method or report level since) is said and left out.
func (d *Daemon) baselines(ctx context.Context, g *generation) error {
	all, err := d.records.Baselines(ctx)
	if err != nil {
		return err
	}
	for _, b := range all {
		w := g.find(b.Loop)
		if w == nil {
			continue
		}
		if err := w.setBaseline(b.Leads); err != nil {
			d.log.Warn().Err(err).Str("loop", b.Loop).Msg("the accepted baseline does not fit the loop as it is described now; accept a new one")
		}
	}
	return nil
}
