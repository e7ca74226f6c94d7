package history

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/util/compression"
	"github.com/rs/zerolog"

	"ohmdrift/diagnostics/measure"
)

// Options tune a History; the zero value is what the daemon runs with.
type Options struct {
	Retention  time.Duration  // of raw samples; 0 = for ever
	Flush      time.Duration  // how often samples are made durable; 0 = 5 s
	Queue      int            // samples that may wait for a flush; 0 = 65,536
	OutOfOrder time.Duration  // how late a sample may come; 0 = 1 h
	Log        zerolog.Logger // the zero value logs nothing
}

// The defaults of Options.
const (
	DefaultFlush      = 5 * time.Second
	DefaultQueue      = 1 << 16 // 6 s of 10,000 loops at 1 s: the owner starts a flush when half of it is full
	DefaultOutOfOrder = time.Hour
)

func (o Options) withDefaults() Options {
	if o.Flush <= 0 {
		o.Flush = DefaultFlush
	}
	if o.Queue <= 0 {
		o.Queue = DefaultQueue
	}
	if o.OutOfOrder <= 0 {
		o.OutOfOrder = DefaultOutOfOrder
	}
	return o
}

// Loop is a loop whose samples are kept.
type Loop struct {
	Tag        string
	Resolution Resolution
}

// ErrClosed is the answer of a history that has been closed.
var ErrClosed = errors.New("history is closed")

// History is the store of raw samples. Its methods may be called from any
// goroutine.
type History struct {
	dir    string
	opts   Options
	ring   ring
	half   chan struct{} // the ring is half full
	calls  chan call
	stop   chan struct{}
	owner  sync.WaitGroup
	once   sync.Once
	closed error

	loopMu sync.Mutex // writers of loops
	loops  atomic.Pointer[map[string]*loop]

	dbMu sync.RWMutex // held for writing only while Import exchanges the database
	db   *tsdb.DB     // nil when closed

	count   counters
	pending []entry // taken from the ring, not committed yet; the owner's
	batch   []entry // its storage
	synced  syncedSegments
	failing string // the problem last logged
	epoch   int    // counts the exchanges of db
	torn    bool   // a commit has failed: mend before the next
}

// call is work for the owner goroutine.
type call struct {
	do   func() error
	done chan error
}

// Open opens the store under dir/history, making it when it is not there, and
// starts its owner goroutine. Close it.
func Open(dir string, o Options) (*History, error) {
	h := &History{
		dir: filepath.Join(dir, "history"), opts: o.withDefaults(),
		half: make(chan struct{}, 1), calls: make(chan call), stop: make(chan struct{}),
	}
	h.ring.bound = h.opts.Queue
	h.batch = make([]entry, 0, min(h.opts.Queue, commitSize))
	h.loops.Store(&map[string]*loop{})
	var err error
	if h.db, err = h.openDB(); err != nil {
		return nil, err
	}
	h.owner.Go(h.own)
	return h, nil
}

func (h *History) openDB() (*tsdb.DB, error) {
	o := tsdb.DefaultOptions()
	o.RetentionDuration = h.opts.Retention.Milliseconds()
	o.MaxBlockDuration = h.blockSpan()
	o.WALCompression = compression.Snappy
	o.WALSegmentSize = 32 << 20 // a start reads whole segments
	o.OutOfOrderTimeWindow = h.opts.OutOfOrder.Milliseconds()
	db, err := tsdb.Open(h.dir, slog.New(quiet{zerolog.NewSlogHandler(h.opts.Log)}), nil, o, nil)
	if err != nil {
		return nil, fmt.Errorf("open history %s: %w; is another daemon using it, or the disk full?", h.dir, err)
	}
	return db, nil
}

// blockSpan is the longest block in ms: a tenth of the retention, so that old
// data leaves in small pieces, and at most 20 days.
func (h *History) blockSpan() int64 {
	spans := tsdb.ExponentialBlockRanges(tsdb.DefaultBlockDuration, 6, 3) // 2 h … 20.25 d
	longest := spans[0]
	for _, s := range spans {
		if h.opts.Retention == 0 || s <= h.opts.Retention.Milliseconds()/10 {
			longest = s
		}
	}
	return longest
}

// quiet passes on what an operator must act on; the database's own routine
// messages are not news.
type quiet struct{ slog.Handler }

func (q quiet) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelWarn }

// SetLoops says which loops there are and their resolutions. A loop that keeps
// its resolution keeps its series; one that is not named keeps its data.
func (h *History) SetLoops(loops []Loop) {
	h.loopMu.Lock()
	defer h.loopMu.Unlock()
	old := *h.loops.Load()
	next := make(map[string]*loop, len(loops))
	for _, l := range loops {
		if was := old[l.Tag]; was != nil && was.resolution == l.Resolution {
			next[l.Tag] = was
		} else {
			next[l.Tag] = newLoop(l)
		}
	}
	h.loops.Store(&next)
}

// Append queues a copy of s. It never blocks on the disk and allocates nothing
// while the queue is not growing; a loop that SetLoops did not name is kept
// with every value raw.
func (h *History) Append(tag string, s *measure.Sample) {
	l := (*h.loops.Load())[tag]
	if l == nil {
		l = h.adopt(tag)
	}
	if h.ring.push(l, s) == (h.opts.Queue+1)/2 {
		select {
		case h.half <- struct{}{}:
		default: // the owner has been told
		}
	}
}

func (h *History) adopt(tag string) *loop {
	h.loopMu.Lock()
	defer h.loopMu.Unlock()
	old := *h.loops.Load()
	if l := old[tag]; l != nil {
		return l
	}
	next := maps.Clone(old)
	next[tag] = newLoop(Loop{Tag: tag})
	h.loops.Store(&next)
	return next[tag]
}

// Flush makes everything appended before it durable and readable.
func (h *History) Flush(ctx context.Context) error {
	return h.ask(ctx, h.flush)
}

func (h *History) ask(ctx context.Context, do func() error) error {
	c := call{do, make(chan error, 1)}
	select {
	case h.calls <- c:
	case <-h.stop:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
	return <-c.done // the owner has it: its effect is certain, so wait for the outcome
}

// Close flushes, stops the owner and closes the database. A second call returns
// the same error.
func (h *History) Close() error {
	h.once.Do(func() {
		close(h.stop)
		h.owner.Wait()
		err := h.flush()
		h.dbMu.Lock()
		defer h.dbMu.Unlock()
		if h.db != nil {
			err = errors.Join(err, h.db.Close())
		}
		h.db, h.closed = nil, err
	})
	return h.closed
}
