package peers

import (
	"context"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/devices/plant"
)

// TestPollsOnTheWire runs the daemon on the example plant with a tap in each
// link: what it says it polled must be what was on the wire, within 1 %. A
// request that serves several loops counts once for each, one of several
// requests for the same loop only if it is the loop's first.
func TestPollsOnTheWire(t *testing.T) {
	site, err := config.Load("../example/larkfield.yaml")
	if err != nil {
		t.Fatal(err)
	}
	site.Store.Dir, site.Influx, site.Alerts.Webhook = t.TempDir(), nil, nil
	var onWire atomic.Int64
	taps := tapped(t, site, &onWire)

	const polls = 300 // five seconds at one poll a second for each of 60 loops
	got := runDaemon(t, site, polls)
	var others int64
	for _, tp := range taps {
		others += tp.others.Load()
	}
	t.Logf("daemon: %d polls, %d good; wire: %d", got.Polls, got.Good, onWire.Load())
	if d := math.Abs(float64(onWire.Load()) - float64(got.Polls)); d > 0.01*float64(got.Polls) {
		t.Errorf("the daemon reports %d polls, the wire had %d: %.1f %% apart, want within 1 %%", got.Polls, onWire.Load(), 100*d/float64(got.Polls))
	}
	if others != 0 {
		t.Errorf("%d requests of other functions than 03 and 04 left the daemon", others)
	}
}

// tapped starts the simulated transmitters of a site and leads each link
// through a tap to them. It adds to loopReads for each loop that a request
// reads.
func tapped(t *testing.T, site *config.Plant, loopReads *atomic.Int64) []*tap {
	t.Helper()
	conf := plant.Config{Seed: 1}
	for range site.Links {
		conf.Links = append(conf.Links, "127.0.0.1:0")
	}
	for i := range site.Loops {
		l := &site.Loops[i]
		conf.Loops = append(conf.Loops, plant.Loop{Spec: l.Spec, Link: l.Link, Unit: l.Unit, Base: l.Base, Profile: l.Profile})
	}
	sim, err := plant.New(conf)
	if err != nil {
		t.Fatal(err)
	}
	addrs, err := sim.Listen()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(sim.Close)
	taps := make([]*tap, len(site.Links))
	for i := range site.Links {
		loops := loopsOf(site, i)
		taps[i] = newTap(t, addrs[i], func(r request) {
			for _, l := range loops {
				if l.unit == r.unit && l.function == r.function && l.addr >= r.addr && int(l.addr) < int(r.addr)+int(r.count) {
					loopReads.Add(1)
				}
			}
		})
		site.Links[i].URL = "tcp://" + taps[i].addr
	}
	return taps
}

// loopsOf returns the first request of each loop of a link.
func loopsOf(site *config.Plant, link int) []request {
	var firsts []request
	for i := range site.Loops {
		l := &site.Loops[i]
		if l.Link == link {
			first := l.Profile.Plan()[0]
			firsts = append(firsts, request{unit: l.Unit, function: byte(l.Profile.Table), addr: l.Base + first.Addr})
		}
	}
	return firsts
}

// runDaemon runs the daemon until it reports as many polls, and returns its
// counts after it has stopped.
func runDaemon(t *testing.T, site *config.Plant, polls uint64) daemon.Counts {
	t.Helper()
	d, err := daemon.Open(site, daemon.Options{Log: zerolog.New(zerolog.NewTestWriter(t)).Level(zerolog.WarnLevel)})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx, nil) }()
	look := time.NewTicker(10 * time.Millisecond)
	defer look.Stop()
	for d.Counts().Polls < polls {
		select {
		case err := <-ended:
			t.Fatalf("the daemon stopped after %d of %d polls: %v", d.Counts().Polls, polls, err)
		case <-look.C:
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	return d.Counts()
}
