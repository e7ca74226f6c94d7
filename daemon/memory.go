package daemon

import (
	"context"
	"encoding/json"

	"ohmdrift/daemon/poll"
)

// pollMemory is the name under which the poller's memory is kept.
const pollMemory = "poll"

// remembered returns what polling had learned before the last stop: loops'
// habits, and which device answered where. Nothing, where it cannot be read: it
// is learned again.
func (d *Daemon) remembered(ctx context.Context) (m poll.Memory) {
	body, err := d.records.LoadMemory(ctx, pollMemory)
	if err == nil && body != nil {
		err = json.Unmarshal(body, &m)
	}
	if err != nil {
		d.log.Warn().Err(err).Msg("what polling had learned is not usable any more; it is learned anew")
		return poll.Memory{}
	}
	return m
}

// remember keeps what polling has learned.
func (d *Daemon) remember(ctx context.Context) error {
	body, err := json.Marshal(d.poller.Memory())
	if err != nil {
		return err
	}
	return d.records.SaveMemory(ctx, pollMemory, body)
}
