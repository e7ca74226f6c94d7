package history

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// commitSize is how many samples one transaction takes: enough to hide its
// cost, few enough for a small batch in memory (200 bytes each).
const commitSize = 4096

// own is the owner goroutine: it alone writes to the database.
func (h *History) own() {
	tick := time.NewTicker(h.opts.Flush)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			_ = h.flush() // logged and counted there
		case <-h.half:
			_ = h.flush()
		case c := <-h.calls:
			c.done <- c.do()
		case <-h.stop:
			return
		}
	}
}

// flush commits what waits and syncs it. Samples of a failed commit stay and are
// tried again at the next flush; meanwhile the ring drops its oldest when full.
func (h *History) flush() error {
	start := time.Now()
	err := h.commitAll()
	if err == nil {
		err = h.synced.sync(h.dir)
	}
	h.count.flushed(time.Since(start), err)
	h.report(err)
	if err != nil {
		return fmt.Errorf("flush history %s: %w; is the disk full?", h.dir, err)
	}
	return nil
}

func (h *History) commitAll() error {
	if h.torn {
		if err := h.mend(); err != nil {
			return err
		}
	}
	waiting, _ := h.ring.state()
	for waiting += len(h.pending); waiting > 0; {
		if len(h.pending) == 0 {
			h.pending = h.ring.take(h.batch[:0:cap(h.batch)])
		}
		n := len(h.pending)
		if n == 0 {
			return nil
		}
		if err := h.commit(h.pending); err != nil {
			return err
		}
		h.pending = nil
		waiting -= n
	}
	return nil
}

// commit writes one batch in one transaction.
func (h *History) commit(batch []entry) error {
	if h.db == nil {
		return ErrClosed // an import could not open the database again
	}
	app := h.db.Appender(context.Background())
	var sum tally
	for i := range batch {
		batch[i].loop.enter(h.epoch)
		batch[i].loop.write(app, &batch[i].sample, &sum)
	}
	if err := app.Commit(); err != nil {
		h.torn = true
		return err
	}
	h.count.stored(len(batch), sum)
	return nil
}

// mend opens the database again after a failed commit: the failure may have left
// series in memory that its log does not know, and what is logged for them later
// would be lost at the next start. Before there is room, all stays as it is, so
// that what is stored can still be read.
func (h *History) mend() error {
	if err := h.probe(); err != nil {
		return err
	}
	if err := h.reopen(); err != nil {
		return err
	}
	h.torn = false
	return nil
}

// probeSize is the room without which there is no point in trying again: a few
// commits.
const probeSize = 4 << 20

// probe checks that the disk takes data again.
func (h *History) probe() error {
	path := filepath.Join(h.dir, "probe")
	err := os.WriteFile(path, make([]byte, probeSize), 0o600)
	return errors.Join(err, os.Remove(path))
}

// report logs a failing flush when it starts, when its reason changes and when
// it ends.
func (h *History) report(err error) {
	switch {
	case err == nil && h.failing != "":
		h.failing = ""
		h.opts.Log.Info().Str("dir", h.dir).Msg("history writes again")
	case err != nil && err.Error() != h.failing:
		h.failing = err.Error()
		waiting, dropped := h.ring.state()
		h.opts.Log.Error().Err(err).Str("dir", h.dir).Int("waiting_samples", waiting).Uint64("dropped_samples", dropped).
			Msg("history cannot write; samples wait in memory, the oldest are dropped when the queue is full")
	}
}
