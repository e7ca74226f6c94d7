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
	host   *host
	change sync.Mutex // held while the links change; taken before mu

	mu      sync.Mutex // guards what follows; never held while waiting
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
	log    zerolog.Logger
	dials  *rate.Limiter
	dial   func(ctx context.Context, c devices.LinkConfig, path int) (*devices.Conn, error)
	memory Memory // of an earlier run; never written
	mu     sync.Mutex
	seen   map[string]int // links by name, in the order in which they came
}

// Options are what a Poller may be told; the zero value is usable.
type Options struct {
	Log      zerolog.Logger
	DialRate float64                                                                          // connects a second over all links; 0 = 50
	Memory   Memory                                                                           // what an earlier run has learned
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
	return &host{log: o.Log, dials: rate.NewLimiter(rate.Limit(o.DialRate), max(1, int(o.DialRate))), dial: o.Dial, memory: o.Memory.clone(), seen: map[string]int{}}
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
	for i := range p.plan.Links {
		p.links = append(p.links, p.begin(&p.plan, i, p.sink))
	}
	p.mu.Unlock()
	<-ctx.Done()
	p.change.Lock()
	defer p.change.Unlock()
	p.mu.Lock()
	p.running, p.ended = false, true
	links := p.links
	p.mu.Unlock()
	for _, l := range links {
		<-l.done
	}
	return nil
}

// begin starts the goroutine of a link; Run waits for it.
func (p *Poller) begin(plan *compiled, index int, sink Sink) *linkRun {
	cfg := plan.Links[index]
	ctx, stop := context.WithCancel(p.ctx)
	l := &linkRun{runner: newRunner(cfg, p.host), stop: stop, done: make(chan struct{})}
	l.post(&takeover{jobs: jobsOf(plan, index, nil), sink: sink})
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
	p.change.Lock()
	defer p.change.Unlock()
	p.mu.Lock()
	running, ended, links := p.running, p.ended, p.links
	if !running && !ended {
		p.plan, p.sink = c, sink // Run will begin with it
	}
	p.mu.Unlock()
	switch {
	case ended:
		return errors.New("the poller has ended")
	case !running:
		return nil
	}
	links = p.swap(&c, sink, links)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.plan, p.sink, p.links = c, sink, links
	return nil
}

// swap moves every link to the new plan: unchanged ones take their new jobs, the
// others end before their successors begin, for a port or a gateway may take
// one client only.
func (p *Poller) swap(c *compiled, sink Sink, running []*linkRun) []*linkRun {
	old := map[string]*linkRun{}
	for _, l := range running {
		old[l.cfg.Name] = l
	}
	links := make([]*linkRun, len(c.Links))
	for i, cfg := range c.Links {
		if l := old[cfg.Name]; l != nil && reflect.DeepEqual(l.cfg, cfg.WithDefaults()) {
			links[i] = l
			delete(old, cfg.Name)
		}
	}
	for _, l := range old {
		l.stop()
	}
	taken := make([]<-chan struct{}, len(links))
	for i, l := range links {
		if l != nil {
			taken[i] = l.post(&takeover{jobs: jobsOf(c, i, l.refusedTogether()), sink: sink})
		}
	}
	for _, l := range old {
		<-l.done
	}
	for i, l := range links {
		if l == nil {
			links[i] = p.begin(c, i, sink)
			continue
		}
		select {
		case <-taken[i]:
		case <-l.done: // the poller ends
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
