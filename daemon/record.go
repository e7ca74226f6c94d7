package daemon

import (
	"context"
	"time"

	"ohmdrift/diagnostics/finding"
)

// recordTimeout bounds the wait for the database on a link's goroutine: longer
// than a checkpoint takes, shorter than a control room waits.
const recordTimeout = 10 * time.Second

// record writes transitions and the notices that tell them, in one
// transaction, before anything leaves. What cannot be written is kept and tried
// again with the next transition or second; it is never dropped.
func (d *Daemon) record(said []finding.Finding) {
	if len(said) == 0 && !d.unrecordedWaits.Load() {
		return
	}
	d.recording.Lock()
	defer d.recording.Unlock()
	d.unrecorded = append(d.unrecorded, said...)
	ctx, cancel := context.WithTimeout(context.Background(), recordTimeout)
	defer cancel()
	if err := d.records.Transition(ctx, d.unrecorded); err != nil {
		if !d.unrecordedWaits.Swap(true) {
			d.log.Error().Err(err).Int("transitions", len(d.unrecorded)).Msg("findings cannot be recorded, will try again")
		}
		return
	}
	if d.unrecordedWaits.Swap(false) {
		d.log.Info().Int("transitions", len(d.unrecorded)).Msg("findings are recorded again")
	}
	d.unrecorded = d.unrecorded[:0]
	d.notify.Wake()
}
