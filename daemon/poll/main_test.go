package poll

import (
	"context"
	"encoding/binary"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// site is a plant of one test: peers by address behind in-memory connections,
// so that time can be simulated, and what the poller hands on.
type site struct {
	t     *testing.T
	peers map[string]*wiretest.Peer
	plan  Plan

	mu    sync.Mutex
	dials map[string][]time.Time
	down  map[string]bool
	waits []func()
	got   map[int][]taken
}

type taken struct {
	devices.Reading
	when time.Time
}

func newSite(t *testing.T) *site {
	return &site{
		t: t, peers: map[string]*wiretest.Peer{}, dials: map[string][]time.Time{}, down: map[string]bool{}, got: map[int][]taken{},
	}
}

// link adds a link with a peer.
func (s *site) link(name string, script wiretest.Script, change ...func(*devices.LinkConfig)) *wiretest.Peer {
	c := devices.LinkConfig{Name: name, URL: "tcp://" + name + ":502", Timeout: time.Second, SoleMaster: true}
	for _, f := range change {
		f(&c)
	}
	s.plan.Links = append(s.plan.Links, c)
	p := wiretest.NewPeer(c.URL[:3] == "tcp", script)
	s.peers[name] = p
	return p
}

// loop adds a loop on the latest link.
func (s *site) loop(unit uint8, base uint16, interval time.Duration, p *devices.Profile) int {
	i := len(s.plan.Loops)
	s.plan.Loops = append(s.plan.Loops, Loop{
		Tag: fmt.Sprintf("TT-%d", 100+i), Link: len(s.plan.Links) - 1, Unit: unit, Base: base, Interval: interval, Profile: p,
	})
	return i
}

// Take is the site as a sink.
func (s *site) Take(loop int, r *devices.Reading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got[loop] = append(s.got[loop], taken{*r, time.Now()})
}

func (s *site) readings(loop int) []taken {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]taken(nil), s.got[loop]...)
}

// dial is how the poller reaches the peers.
func (s *site) dial(ctx context.Context, c devices.LinkConfig, path int) (*devices.Conn, error) {
	name := c.Name
	if path == 1 {
		name = c.Second[len("tcp://") : len(c.Second)-len(":502")]
	}
	s.mu.Lock()
	s.dials[name] = append(s.dials[name], time.Now())
	down := s.down[name]
	s.mu.Unlock()
	if down {
		return nil, fmt.Errorf("connect %s: connection refused", name)
	}
	near, wait := s.peers[name].Pipe()
	s.mu.Lock()
	s.waits = append(s.waits, wait)
	s.mu.Unlock()
	return devices.Attach(c, near)
}

func (s *site) setDown(name string, down bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.down[name] = down
}

func (s *site) dialled(name string) []time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]time.Time(nil), s.dials[name]...)
}

func (s *site) options() Options { return Options{Dial: s.dial} }

// during starts the poller, runs f beside it and stops it.
func (s *site) during(f func(p *Poller)) *Poller {
	s.t.Helper()
	return s.duringWith(s.options(), f)
}

func (s *site) duringWith(o Options, f func(p *Poller)) *Poller {
	s.t.Helper()
	p, err := New(s.plan, s, o)
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, stop := context.WithCancel(s.t.Context())
	done := make(chan error)
	go func() { done <- p.Run(ctx) }()
	synctest.Wait()
	f(p)
	stop()
	if err := <-done; err != nil {
		s.t.Error(err)
	}
	for _, wait := range s.waits {
		wait()
	}
	return p
}

// run polls for a while, slots at its very end left out.
func (s *site) run(d time.Duration) *Poller {
	return s.during(func(*Poller) { pass(d - time.Millisecond) })
}

// pass lets simulated time go by.
func pass(d time.Duration) { <-time.NewTimer(d).C }

// one is a profile of one lead and the reading.
func one() *devices.Profile {
	return &devices.Profile{Name: "one", Table: devices.Holding, Fields: []devices.Field{
		{Quantity: devices.LeadA1, Addr: 0, Type: devices.Uint16, Scale: 0.001},
		{Quantity: devices.ReadingDegC, Addr: 1, Type: devices.Int16, Scale: 0.1},
	}}
}

// numbered answers every request with registers that hold its number.
func numbered(r wiretest.Request) ([]byte, bool) { return r.Registers(uint16(r.N)), false }

// serve answers from register values by unit and address.
func serve(value func(unit uint8, addr uint16) uint16) wiretest.Script {
	return func(r wiretest.Request) ([]byte, bool) {
		pdu := []byte{r.Fn, byte(2 * r.Count)}
		for i := range r.Count {
			pdu = binary.BigEndian.AppendUint16(pdu, value(r.Unit, r.Addr+i))
		}
		return r.Frame(pdu), false
	}
}

// silentUnits leaves some units without an answer.
func silentUnits(s wiretest.Script, dead func(unit uint8) bool) wiretest.Script {
	return func(r wiretest.Request) ([]byte, bool) {
		if dead(r.Unit) {
			return nil, false
		}
		return s(r)
	}
}

// log notes every request that a script answers.
type log struct {
	mu sync.Mutex
	at []time.Time
	rs []wiretest.Request
}

func (l *log) of(s wiretest.Script) wiretest.Script {
	return func(r wiretest.Request) ([]byte, bool) {
		l.mu.Lock()
		l.at, l.rs = append(l.at, time.Now()), append(l.rs, r)
		l.mu.Unlock()
		return s(r)
	}
}

// count returns how many requests fit.
func (l *log) count(fits func(r wiretest.Request) bool) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for _, r := range l.rs {
		if fits(r) {
			n++
		}
	}
	return n
}

func anything(wiretest.Request) bool { return true }

func toUnit(u uint8) func(wiretest.Request) bool {
	return func(r wiretest.Request) bool { return r.Unit == u }
}
