package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/finding"
)

// recorder writes transitions and the notices that tell them, in one
// transaction, before anything leaves. Links hand transitions over and poll on:
// a database that hangs stops no polling. What cannot be written is kept, in
// order, and tried again every second.
type recorder struct {
	store *records.Store
	log   zerolog.Logger
	told  func() // called when something new is in the outbox

	mu      sync.Mutex
	waiting []finding.Finding // at most recorderBound and what has been raised or cleared beyond it
	dropped uint64            // updates given up at the bound

	writing sync.Mutex // one transaction at a time, in the order in which things were said
	failing bool       // the last attempt failed; under writing
	wake    chan struct{}
}

// recorderBound is how many transitions may wait for the database. Beyond it
// updates are given up, the oldest first, and counted: the next update says the
// same of a later moment. That something was raised or cleared is never given up.
const recorderBound = 1 << 16

// writeTimeout bounds one transaction: longer than a checkpoint takes.
const writeTimeout = 10 * time.Second

func newRecorder(store *records.Store, log zerolog.Logger, told func()) *recorder {
	return &recorder{store: store, log: log, told: told, wake: make(chan struct{}, 1)}
}

// add takes transitions over; it never waits for the disk.
func (r *recorder) add(said []finding.Finding) {
	if len(said) == 0 {
		return
	}
	r.mu.Lock()
	r.waiting = append(r.waiting, said...)
	if len(r.waiting) > recorderBound {
		r.giveUpUpdates()
	}
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default: // it is awake
	}
}

func (r *recorder) giveUpUpdates() {
	kept := r.waiting[:0]
	over := len(r.waiting) - recorderBound
	for _, f := range r.waiting {
		if over > 0 && f.State == finding.Updated {
			over--
			r.dropped++
			continue
		}
		kept = append(kept, f)
	}
	r.waiting = kept
}

// run writes until ctx ends.
func (r *recorder) run(ctx context.Context) error {
	retry := time.NewTicker(time.Second)
	defer retry.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-r.wake:
		case <-retry.C:
		}
		_ = r.drain(ctx) // said in the log, and tried again
	}
}

// drain writes all that waits. It returns an error when something still waits.
func (r *recorder) drain(ctx context.Context) error {
	r.writing.Lock()
	defer r.writing.Unlock()
	r.mu.Lock()
	batch := r.waiting
	r.waiting = nil
	r.mu.Unlock()
	if len(batch) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, writeTimeout)
	defer cancel()
	err := r.store.Transition(ctx, batch)
	if senseless := (*json.MarshalerError)(nil); errors.As(err, &senseless) {
		batch = r.sift(batch)
		err = r.store.Transition(ctx, batch)
	}
	if err != nil {
		r.mu.Lock()
		r.waiting = append(batch, r.waiting...)
		r.mu.Unlock()
		if !r.failing {
			r.log.Error().Err(err).Int("transitions", len(batch)).Msg("findings cannot be recorded, will try again")
		}
		r.failing = true
		return err
	}
	if r.failing {
		r.log.Info().Int("transitions", len(batch)).Msg("findings are recorded again")
	}
	r.failing = false
	r.told()
	return nil
}

// sift takes out what cannot be written down at all (a number that JSON lacks
// where only numbers are): it would keep all that follows off the record for
// ever.
func (r *recorder) sift(batch []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(batch, func(f finding.Finding) bool {
		_, err := json.Marshal(f)
		if err != nil {
			r.log.Error().Err(err).Str("loop", f.Loop).Str("kind", string(f.Kind)).Str("state", f.State.String()).Str("evidence", f.Evidence).
				Msg("this finding cannot be written down and is given up; please report it")
		}
		return err != nil
	})
}
