// Package demo runs the invented Larkfield plant: simulated transmitters on real
// Modbus over loopback, the daemon on its embedded store, the web page. A
// recorded past goes through the engine first, then live polls follow.
//
//	example plant ─ devices/plant ─ Past ──► daemon.Recall     (recorded past)
//	                      └ registers ─ TCP ─► daemon.Run ─► receiver (points)
package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"net"
	"os"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/records"
	"ohmdrift/deploy/example"
	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// Options of a demo; the zero value of each has a meaning.
type Options struct {
	Seed   uint64         // which loops fail
	Speed  float64        // ageing of the simulated terminals; 0 = 1, real time
	For    time.Duration  // how long to poll; 0 = until the context ends
	Past   time.Duration  // recorded past; 0 = 120 days
	Dir    string         // data folder; empty = a temporary one, removed at the end
	Listen string         // address of the page; empty = 127.0.0.1:8321, or a free port when that is in use
	Influx *config.Influx // a server of the user's own; nil = the demo's receiver
	Say    io.Writer      // progress for a person; nil = silent
	Log    zerolog.Logger
}

const usualPage = "127.0.0.1:8321"

const (
	defaultPast  = 120 * 24 * time.Hour
	pastInterval = 10 * time.Minute // of the recorded past
	liveInterval = time.Second      // of the live polls
	recallTakes  = 5 * time.Second  // about what the recorded past takes: live events wait for it
)

// Run runs a demo to its end and returns what happened.
func Run(ctx context.Context, o Options) (sum Summary, err error) {
	d := &demo{Options: o}
	defer func() { err = errors.Join(err, d.close()) }()
	if err = d.prepare(); err != nil {
		return sum, err
	}
	if err = d.recall(ctx); errors.Is(err, context.Canceled) {
		return sum, nil
	}
	if err != nil {
		return sum, err
	}
	return d.live(ctx)
}

// demo holds what a run has opened.
type demo struct {
	Options
	config   *config.Plant
	plant    *plant.Plant
	receiver *receiver
	daemon   *daemon.Daemon
	page     net.Listener
	served   bool   // Run has the page
	remove   string // temporary folder
	start    time.Time
}

func (d *demo) say(format string, args ...any) {
	if d.Say != nil {
		fmt.Fprintf(d.Say, format+"\n", args...)
	}
}

func (d *demo) prepare() error {
	d.start = time.Now().Truncate(pastInterval)
	steps := []func() error{d.load, d.simulate, d.receive, d.openPage, d.openDaemon}
	for _, step := range steps {
		if err := step(); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
	}
	return nil
}

func (d *demo) load() (err error) {
	if d.config, err = config.LoadFS(example.Files, example.Main); err != nil {
		return err
	}
	if d.Dir == "" {
		if d.Dir, err = os.MkdirTemp("", "ohmdrift-demo-"); err != nil {
			return err
		}
		d.remove = d.Dir
	}
	d.config.Store.Dir = d.Dir
	for i := range d.config.Loops {
		d.config.Loops[i].Interval = liveInterval
		d.config.Loops[i].Spec.Interval = liveInterval
	}
	return nil
}

// simulate starts the transmitters: on the ports of the example, so that
// `ohmdrift read` finds them there, or on free ones where those are taken.
func (d *demo) simulate() (err error) {
	conf := PlantConfig(d.config)
	conf.Seed, conf.Speed, conf.Start, conf.Chosen = d.Seed, d.Speed, d.start, true
	conf.Live = time.Now().Add(recallTakes)
	if d.plant, err = plant.New(conf); err != nil {
		return err
	}
	bound, err := d.plant.Listen()
	if err != nil {
		d.say("the example's ports are in use, taking free ones")
		for i := range conf.Links {
			conf.Links[i] = "127.0.0.1:0"
		}
		if d.plant, err = plant.New(conf); err != nil {
			return err
		}
		if bound, err = d.plant.Listen(); err != nil {
			return err
		}
	}
	for i := range d.config.Links {
		d.config.Links[i].URL = "tcp://" + bound[i]
	}
	return nil
}

// PlantConfig describes the simulated transmitters of a plant.
func PlantConfig(p *config.Plant) plant.Config {
	conf := plant.Config{Links: make([]string, len(p.Links)), Loops: make([]plant.Loop, len(p.Loops))}
	for i, l := range p.Links {
		conf.Links[i] = strings.TrimPrefix(l.URL, "tcp://")
	}
	for i := range p.Loops {
		l := &p.Loops[i]
		conf.Loops[i] = plant.Loop{Spec: l.Spec, Link: l.Link, Unit: l.Unit, Base: l.Base, Profile: l.Profile}
	}
	return conf
}

func (d *demo) receive() (err error) {
	if d.Influx != nil {
		d.config.Influx = d.Influx
		return nil
	}
	if d.receiver, err = startReceiver(); err != nil {
		return err
	}
	d.config.Influx = &config.Influx{URL: d.receiver.url(), Org: "larkfield", Bucket: "demo", Batch: 5000}
	return nil
}

func (d *demo) openPage() (err error) {
	if d.Listen == "" {
		d.Listen = usualPage
	}
	d.page, err = net.Listen("tcp", d.Listen)
	if err != nil && d.Listen == usualPage {
		d.say("%s is in use, taking a free port for the page", usualPage)
		d.page, err = net.Listen("tcp", "127.0.0.1:0")
	}
	return err
}

func (d *demo) openDaemon() (err error) {
	d.daemon, err = daemon.Open(d.config, daemon.Options{Log: d.Log})
	return err
}

// recall sends the recorded past through the engine.
func (d *demo) recall(ctx context.Context) error {
	past := d.Past
	if past == 0 {
		past = defaultPast
	}
	from := d.start.Add(-past)
	began := time.Now()
	d.say("replaying %d days of recorded past of %d loops", int(past.Hours()/24), len(d.config.Loops))
	if err := d.calibrate(ctx, from); err != nil {
		return err
	}
	n, err := d.daemon.Recall(ctx, d.past(from, d.start))
	if errors.Is(err, context.Canceled) {
		return err // told to stop: nothing went wrong
	}
	if err != nil {
		return fmt.Errorf("demo: recorded past: %w", err)
	}
	d.say("%d samples replayed in %.1f s", n, time.Since(began).Seconds())
	return nil
}

// calibrate accepts the leads as they were when the record began for the loops
// that were calibrated with their leads in circuit.
func (d *demo) calibrate(ctx context.Context, at time.Time) error {
	for i := range d.config.Loops {
		l := &d.config.Loops[i]
		if l.Calibrated != diagnostics.LeadsIn {
			continue
		}
		s := d.plant.SampleAt(i, at)
		err := d.daemon.AcceptBaseline(ctx, records.Baseline{
			Loop: l.Tag, Leads: diagnostics.BaselineOf(&s), Proposer: "demo", Accepter: "demo", Note: "calibration at the beginning of the recorded past",
		})
		if err != nil {
			return fmt.Errorf("demo: %w", err)
		}
	}
	return nil
}

// past yields the samples of all loops in time order.
func (d *demo) past(from, to time.Time) iter.Seq2[string, *measure.Sample] {
	return func(yield func(string, *measure.Sample) bool) {
		for at := from; at.Before(to); at = at.Add(pastInterval) {
			for i := range d.config.Loops {
				s := d.plant.SampleAt(i, at)
				if !yield(d.config.Loops[i].Tag, &s) {
					return
				}
			}
		}
	}
}

func (d *demo) live(ctx context.Context) (Summary, error) {
	if d.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, d.For)
		defer cancel()
	}
	d.say("page: http://%s", d.page.Addr())
	if d.For == 0 {
		d.say("stop with Ctrl-C")
	}
	d.served = true
	if err := d.daemon.Run(ctx, d.page); err != nil {
		return Summary{}, fmt.Errorf("demo: %w", err)
	}
	return d.summary(), nil
}

func (d *demo) close() error {
	var errs []error
	if d.daemon != nil {
		errs = append(errs, d.daemon.Close())
	}
	if d.page != nil && !d.served { // otherwise the pages have closed it
		errs = append(errs, d.page.Close())
	}
	if d.plant != nil {
		d.plant.Close()
	}
	if d.receiver != nil {
		errs = append(errs, d.receiver.close())
	}
	if d.remove != "" {
		errs = append(errs, os.RemoveAll(d.remove))
	}
	return errors.Join(errs...)
}
