package poll

import (
	"context"
	"errors"
	"reflect"
	"sync"

	"github.com/rs/zerolog"
	"golang.org/x/time/rate"

	"ohmdrift/devices"
)

// Poller polls a plan until its Run ends. Its methods may be called from any
// goroutine.
type Poller struct {
	host *host

	mu      sync.Mutex // guards what follows
	plan    compiled
	sink    Sink
	links   []*linkRun // in the order of the plan
	ctx     context.Context
	running bool
	ended   bool
}

// linkRun is a runner and its end.
type linkRun struct {
	*runner
	stop context.CancelFunc
	done chan struct{}
}

// host is what all links share.
type host struct {
	log   zerolog.Logger
	dials *rate.Limiter
	dial  func(ctx context.Context, c devices.LinkConfig, path int) (*devices.Conn, error)
	mu    sync.Mutex
	seen  map[string]int // links by name, in the order in which they came
}

// Options are what a Poller may be told; the zero value is usable.
type Options struct {
	Log      zerolog.Logger
	DialRate float64                                                                          // connects a second over all links; 0 = 50
	Dial     func(ctx context.Context, c devices.LinkConfig, path int) (*devices.Conn, error) // nil = devices.OpenPath
}

// New returns a poller for plan. Nothing is opened before Run. The error lists
// every mistake in the plan.
func New(plan Plan, sink Sink, o Options) (*Poller, error) {
	c, err := compile(plan)
	if err != nil {
		return nil, err
	}
	return &Poller{host: newHost(o), plan: c, sink: sink}, nil
}

func newHost(o Options) *host {
	if o.DialRate == 0 {
		o.DialRate = 50
	}
	if o.Dial == nil {
		o.Dial = devices.OpenPath
	}
	return &host{log: o.Log, dials: rate.NewLimiter(rate.Limit(o.DialRate), max(1, int(o.DialRate))), dial: o.Dial, seen: map[string]int{}}
}

// phase spreads the first slots of many links.
func (h *host) phase(link string) float64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	n, ok := h.seen[link]
	if !ok {
		n = len(h.seen)
		h.seen[link] = n
	}
	f := float64(n) * golden
	return f - float64(int(f))
}

// Run polls every link until ctx ends and returns when all have closed. A dead
// device is a reading with bad quality, not an error.
func (p *Poller) Run(ctx context.Context) error {
	p.mu.Lock()
	if p.running || p.ended {
		p.mu.Unlock()
		return errors.New("the poller runs or has run already")
	}
	p.running, p.ctx = true, ctx
	for i, cfg := range p.plan.Links {
		p.links = append(p.links, p.begin(cfg, i))
	}
	p.mu.Unlock()
	<-ctx.Done()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.running, p.ended = false, true
	for _, l := range p.links {
		<-l.done
	}
	return nil
}

// begin starts the goroutine of a link; the lock is held.
func (p *Poller) begin(cfg devices.LinkConfig, index int) *linkRun {
	ctx, stop := context.WithCancel(p.ctx)
	l := &linkRun{runner: newRunner(cfg, p.host), stop: stop, done: make(chan struct{})}
	l.post(&takeover{jobs: jobsOf(&p.plan, index, nil), sink: p.sink})
	go func() {
		defer close(l.done)
		defer stop()
		l.run(ctx)
	}()
	return l
}

// Reload takes over a new plan while running. A link whose configuration is
// unchanged keeps its connection, and a loop that is unchanged its schedule: no
// poll is missed. From the return on, readings carry the new plan's indices and
// go to sink only. A plan with mistakes is refused and changes nothing.
func (p *Poller) Reload(plan Plan, sink Sink) error {
	c, err := compile(plan)
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.running {
		if p.ended {
			return errors.New("the poller has ended")
		}
		p.plan, p.sink = c, sink
		return nil
	}
	old := map[string]*linkRun{}
	for _, l := range p.links {
		old[l.cfg.Name] = l
	}
	p.plan, p.sink = c, sink
	p.links = p.swap(old)
	return nil
}

// swap moves every link to p.plan: unchanged ones take their new jobs, the
// others end before their successors begin, for a port or a gateway may take
// one client only.
func (p *Poller) swap(old map[string]*linkRun) []*linkRun {
	kept := map[int]*linkRun{}
	for i, cfg := range p.plan.Links {
		if l := old[cfg.Name]; l != nil && reflect.DeepEqual(l.cfg, cfg.WithDefaults()) {
			kept[i] = l
			delete(old, cfg.Name)
		}
	}
	for _, l := range old {
		l.stop()
	}
	var taken []<-chan struct{}
	for i, l := range kept {
		taken = append(taken, l.post(&takeover{jobs: jobsOf(&p.plan, i, l.refusedTogether()), sink: p.sink}))
	}
	for _, l := range old {
		<-l.done
	}
	for _, c := range taken {
		<-c
	}
	links := make([]*linkRun, len(p.plan.Links))
	for i, cfg := range p.plan.Links {
		if links[i] = kept[i]; links[i] == nil {
			links[i] = p.begin(cfg, i)
		}
	}
	return links
}

// refusedTogether returns the loops that their units give one by one only.
func (r *runner) refusedTogether() map[string]bool {
	r.inbox.mu.Lock()
	defer r.inbox.mu.Unlock()
	m := make(map[string]bool, len(r.inbox.apart))
	for t := range r.inbox.apart {
		m[t] = true
	}
	return m
}

// Stats returns the counters of every link in the order of the plan.
func (p *Poller) Stats() []LinkStats {
	p.mu.Lock()
	defer p.mu.Unlock()
	s := make([]LinkStats, 0, len(p.links))
	for _, l := range p.links {
		s = append(s, l.snapshot())
	}
	return s
}
