package history

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"math"
	"time"

	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb"
	"github.com/rs/zerolog"

	"ohmdrift/diagnostics/measure"
)

// Import stores the recorded past: samples by tag, in time order over all
// loops, of any age. It writes blocks straight to the disk, so a year goes in
// without a year of write-ahead log, and live samples wait in the queue
// meanwhile. What is not older than the live samples already stored is stored
// like one of them, and so may be refused and counted.
//
// The samples become readable when Import returns. On an error the blocks
// already finished stay; importing the same past again stores the same numbers
// again, which changes nothing.
func (h *History) Import(ctx context.Context, past iter.Seq2[string, *measure.Sample]) error {
	return h.ask(ctx, func() error {
		if err := h.flush(); err != nil {
			return err
		}
		if h.db == nil {
			return ErrClosed
		}
		in := importer{h: h, live: math.MaxInt64, span: h.blockSpan(), loops: map[string]*loop{}}
		if h.db.Head().NumSeries() > 0 {
			in.live = h.db.Head().MinTime()
		}
		err := in.run(ctx, past)
		return errors.Join(err, in.close(), h.reopen())
	})
}

// reopen exchanges the database for one that reads the folder anew.
func (h *History) reopen() error {
	h.dbMu.Lock()
	defer h.dbMu.Unlock()
	if h.db != nil {
		if err := h.db.Close(); err != nil {
			h.opts.Log.Warn().Err(err).Str("dir", h.dir).Msg("history did not close cleanly; it is opened again")
		}
	}
	h.epoch++
	h.synced = syncedSegments{}
	var err error
	h.db, err = h.openDB()
	return err
}

// importer writes one block after the other.
type importer struct {
	h      *History
	live   int64 // ms: samples from here on are no past
	span   int64 // ms
	end    int64 // of the present block, ms
	loops  map[string]*loop
	block  *tsdb.BlockWriter
	app    storage.Appender
	rows   int
	blocks int // closed so far
	sum    tally
}

func (in *importer) run(ctx context.Context, past iter.Seq2[string, *measure.Sample]) error {
	for tag, s := range past {
		if err := ctx.Err(); err != nil {
			return err
		}
		at := s.At.UnixMilli()
		if at >= in.live {
			in.h.Append(tag, s)
			continue
		}
		if err := in.ready(ctx, at); err != nil {
			return err
		}
		l := in.loop(tag)
		l.enter(in.blocks)
		l.write(in.app, s, &in.sum)
		if in.rows++; in.rows%commitSize == 0 {
			if err := in.commit(ctx); err != nil {
				return err
			}
		}
	}
	return in.finish(ctx)
}

// loop returns the import's own view of a loop: its series references belong to
// another database than the live ones.
func (in *importer) loop(tag string) *loop {
	l := in.loops[tag]
	if l == nil {
		l = newLoop(Loop{Tag: tag})
		if known := (*in.h.loops.Load())[tag]; known != nil {
			l = newLoop(Loop{Tag: tag, Resolution: known.resolution})
		}
		in.loops[tag] = l
	}
	return l
}

// ready makes sure that the open block takes a sample of time at.
func (in *importer) ready(ctx context.Context, at int64) error {
	if in.block != nil && at < in.end {
		return nil
	}
	if err := in.finish(ctx); err != nil {
		return err
	}
	in.end = (floorDiv(at, in.span) + 1) * in.span
	log := slog.New(quiet{zerolog.NewSlogHandler(in.h.opts.Log)})
	block, err := tsdb.NewBlockWriter(log, in.h.dir, in.span)
	if err != nil {
		return fmt.Errorf("import into history: %w", err)
	}
	in.block, in.app = block, block.Appender(ctx)
	return nil
}

func (in *importer) commit(ctx context.Context) error {
	if err := in.app.Commit(); err != nil {
		return fmt.Errorf("import into history: %w", err)
	}
	in.app = in.block.Appender(ctx)
	return nil
}

// finish writes the open block to the disk.
func (in *importer) finish(ctx context.Context) error {
	if in.block == nil {
		return nil
	}
	if err := in.app.Commit(); err != nil {
		return fmt.Errorf("import into history: %w", err)
	}
	in.app = nil
	if in.sum.values > 0 {
		if _, err := in.block.Flush(ctx); err != nil {
			return fmt.Errorf("import into history: block up to %s: %w", time.UnixMilli(in.end).UTC().Format(time.RFC3339), err)
		}
	}
	in.h.count.imported(in.sum)
	in.sum = tally{}
	return in.close()
}

// close lets go of the open block, finished or not.
func (in *importer) close() error {
	if in.block == nil {
		return nil
	}
	if in.app != nil {
		_ = in.app.Rollback() // an abandoned block: the error that led here is reported
	}
	err := in.block.Close()
	in.block, in.app = nil, nil
	in.blocks++
	return err
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
