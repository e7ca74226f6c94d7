package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"ohmdrift/config"
	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/history"
	"ohmdrift/daemon/notify"
	"ohmdrift/daemon/poll"
	"ohmdrift/daemon/records"
	"ohmdrift/daemon/web"
)

// Daemon is the running program. Open it, Run it, Close it.
type Daemon struct {
	log      zerolog.Logger
	records  *records.Store
	history  *history.History
	forward  *forward.Forwarder // nil where no server is configured
	notify   *notify.Notifier
	record   *recorder
	poller   *poll.Poller
	web      *web.Server
	progress progress

	reload  sync.Mutex   // one reload at a time
	saving  sync.Mutex   // one snapshot at a time, so that an older one never takes the place of a newer one
	swap    sync.RWMutex // held while the plant level of a generation is used or replaced
	running atomic.Pointer[generation]
	past    atomic.Pointer[recalled]
}

// Options are what a daemon may be told; the zero value logs nothing.
type Options struct {
	Log     zerolog.Logger
	Version string // what was built, for the metrics
}

// Open opens the stores and builds the plant's loops; nothing is polled yet.
// Only one daemon at a time can have a data folder.
func Open(p *config.Plant, o Options) (*Daemon, error) { return openAt(p, o, time.Now()) }

// openAt opens at a time of the wall clock.
func openAt(p *config.Plant, o Options, now time.Time) (*Daemon, error) {
	d := &Daemon{log: o.Log}
	if err := d.open(p, o.Version, now); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

func (d *Daemon) open(p *config.Plant, version string, now time.Time) (err error) {
	if d.records, err = records.Open(p.Store.Dir); err != nil {
		return err
	}
	if d.history, err = history.Open(p.Store.Dir, history.Options{Retention: p.Store.Retention, Log: d.log}); err != nil {
		return err
	}
	d.notify = notify.New(d.records, p.Alerts, d.log)
	d.records.SetSinks(d.notify.Sinks()...)
	d.record = newRecorder(d.records, d.log, d.notify.Wake)
	d.progress.began = time.Now()
	g, err := d.newGeneration(p, nil)
	if err != nil {
		return err
	}
	d.running.Store(g)
	d.history.SetLoops(historyLoops(p))
	if p.Influx != nil {
		if d.forward, err = forward.New(forwardOptions(p.Influx, d.log), d.records); err != nil {
			return err
		}
	}
	if d.poller, err = poll.New(PollPlan(p), g, poll.Options{Log: d.log, Memory: d.remembered(context.Background())}); err != nil {
		return err
	}
	d.web = web.New(pages{d}, d.log)
	d.web.Also("GET /api/loops/{tag}/work", http.HandlerFunc(d.getWork))
	d.web.Also("PUT /api/loops/{tag}/work", http.HandlerFunc(d.putWork))
	if err := d.openMetrics(version); err != nil {
		return err
	}
	if err := d.baselines(context.Background(), g); err != nil {
		return err
	}
	if err := d.resume(context.Background(), now); err != nil {
		return err
	}
	d.cabling(g)
	return d.record.drain(context.Background())
}

func (d *Daemon) current() *generation { return d.running.Load() }

// Run polls, stores, forwards, tells and serves until ctx ends, and returns when
// all of it has stopped and what was on its way is on the disk. listener is for
// the pages; nil = none.
func (d *Daemon) Run(ctx context.Context, listener net.Listener) error {
	d.progress.began = time.Now()
	// Forwarding and notices end after polling, so that the last samples leave too.
	late, stopLate := context.WithCancel(context.WithoutCancel(ctx))
	defer stopLate()
	var after errgroup.Group
	after.Go(func() error { return d.notify.Run(late) })
	if d.forward != nil {
		after.Go(func() error { return d.forward.Run(late) })
	}
	err := d.live(ctx, listener)
	d.lastMark(time.Now())
	err = errors.Join(err, d.snapshot(late), d.remember(late)) // what was said last goes on record with it
	stopLate()
	return errors.Join(err, after.Wait())
}

func (d *Daemon) live(ctx context.Context, listener net.Listener) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return d.poller.Run(ctx) })
	g.Go(func() error { return d.keepTime(ctx) })
	g.Go(func() error { return d.record.run(ctx) })
	if listener != nil {
		g.Go(func() error { return d.web.Run(ctx, listener) })
	}
	return g.Wait()
}

// Overview returns the newest values of every loop, in the order of the plant.
func (d *Daemon) Overview() web.Overview { return pages{d}.Overview() }

// Handler returns the pages, for tests and embedding.
func (d *Daemon) Handler() http.Handler { return d.web.Handler() }

// Close closes the stores. Run has returned before.
func (d *Daemon) Close() error {
	var errs []error
	if d.history != nil {
		errs = append(errs, d.history.Close())
	}
	if d.records != nil {
		errs = append(errs, d.records.Close())
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close: %w", err)
	}
	return nil
}
