package forward

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// Queue is the durable queue; records.Store is one.
type Queue interface {
	Enqueue(ctx context.Context, batch []byte, points int) error
	NextBatches(ctx context.Context, points int) ([]records.Batch, error)
	Settle(ctx context.Context, ids []int64, bad []records.BadLine) error
	QueueSize(ctx context.Context) (records.QueueSize, error)
	Bound(ctx context.Context, bytes int64, before time.Time) (int64, error)
}

// Options say where results go.
type Options struct {
	URL    string // http://host:8086
	Org    string
	Bucket string
	Token  string
	Batch  int // points a call; 0 = 5,000

	Timeout  time.Duration // of one call; 0 = 20 s
	Spool    time.Duration // how often points go to the queue; 0 = 1 s
	RetryMin time.Duration // first pause of an outage; 0 = 1 s
	RetryMax time.Duration // longest pause; 0 = 1 min
	MaxBytes int64         // of the queue, compressed; 0 = 512 MiB
	MaxAge   time.Duration // of a batch in the queue; 0 = 30 days
	Log      zerolog.Logger
}

func (o Options) withDefaults() Options {
	or := func(d *time.Duration, v time.Duration) {
		if *d <= 0 {
			*d = v
		}
	}
	or(&o.Timeout, 20*time.Second)
	or(&o.Spool, time.Second)
	or(&o.RetryMin, time.Second)
	or(&o.RetryMax, time.Minute)
	or(&o.MaxAge, 30*24*time.Hour)
	if o.Batch <= 0 {
		o.Batch = 5000
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = 512 << 20
	}
	return o
}

// Forwarder carries results from the pollers to the server.
type Forwarder struct {
	opts   Options
	queue  Queue
	buffer buffer
	full   chan struct{} // a chunk is full
	queued chan struct{} // something is in the queue
	server *server
	name   string       // of the server, without a password
	zip    *gzip.Writer // the spooler's

	mu    sync.Mutex
	stats Stats

	outage     state // of the server; the sender's
	bad        state // of lines in quarantine; the sender's
	spoolState state // of the queue; the spooler's
	dropping   bool  // the queue is at its bound; the spooler's
}

// New makes a forwarder to the server of o, from the queue q. Run it.
func New(o Options, q Queue) (*Forwarder, error) {
	o = o.withDefaults()
	u, err := url.Parse(o.URL)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, fmt.Errorf("influx.url %q: want http://host:port or https://host:port", o.URL)
	}
	f := &Forwarder{
		opts: o, queue: q, server: newServer(o), name: u.Redacted(),
		full: make(chan struct{}, 1), queued: make(chan struct{}, 1),
	}
	f.buffer.size = o.Batch
	if f.zip, err = gzip.NewWriterLevel(io.Discard, gzip.BestSpeed); err != nil {
		return nil, err
	}
	return f, nil
}

// Add takes the result of one poll; a or s may be nil. It never waits for the
// disk or the server and allocates nothing once its buffers have grown.
func (f *Forwarder) Add(site, area, tag string, a *diagnostics.Assessment, s *measure.Sample) {
	if a == nil && s == nil {
		return
	}
	if f.buffer.add(site, area, tag, a, s) {
		signal(f.full)
	}
}

// Run moves points until ctx ends. Then what is in memory goes to the queue, and
// if the server is well, one last time from there to the server.
func (f *Forwarder) Run(ctx context.Context) error {
	defer f.server.close()
	var g errgroup.Group
	spooled := make(chan struct{})
	g.Go(func() error {
		defer close(spooled)
		return f.spool(ctx)
	})
	g.Go(func() error {
		err := f.send(ctx)
		<-spooled
		f.sendLast(ctx)
		return err
	})
	return g.Wait()
}

// farewell bounds the last sending at stop.
const farewell = 3 * time.Second

func (f *Forwarder) sendLast(ended context.Context) {
	if f.outage.problem != "" {
		return // it waits in the queue for the next start
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ended), farewell)
	defer cancel()
	for more := true; more; {
		var err error
		if more, _, err = f.sendOnce(ctx); err != nil {
			return
		}
	}
}

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// pause waits for d or the end of ctx.
func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

var errStopped = errors.New("forwarder is stopping")
