package poll

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/devices"
)

// runner polls one link. Everything but inbox, stats and unitList belongs to
// its goroutine.
type runner struct {
	cfg   devices.LinkConfig
	host  *host // what all links share
	log   zerolog.Logger
	sink  Sink
	queue queue
	units map[uint8]*unit
	loops map[loopKey]*loopState

	conn     *devices.Conn
	dialer   dialer
	clock    clock
	probes   budget
	gate     time.Time // no request before
	asked    time.Time // start of the last request
	lastGot  time.Time // last answer of any unit
	silent   silence
	blamed   *unit         // the unit that was asked when a fresh connection broke: another goes first on the next
	excess   time.Duration // the longest that answers take beyond the wire, fading
	usual    time.Duration // what they usually take
	shortest time.Duration // interval of the link
	polite   politeness
	pack     pack

	doubtAfter int // readings in a row that look wrong before their byte order is doubted
	works      []*work
	timer      *time.Timer

	reading devices.Reading
	blocks  [][]byte
	answers [][]byte

	inbox    inbox
	stats    linkStats
	unitList atomic.Pointer[[]*unit]
}

// inbox carries orders to the runner's goroutine; it takes them between two
// requests. An order not yet taken is replaced by a newer one of its kind, so
// that nothing queues up.
type inbox struct {
	mu     sync.Mutex
	jobs   *takeover
	works  []workOrder     // at most one a loop
	memory Memory          // what was learned here
	rates  map[int]float64 // polls a second of loops in work mode
	apart  map[string]bool // loops that their unit refuses to give together with others
	wake   chan struct{}
}

// takeover is a new set of jobs.
type takeover struct {
	jobs []*job
	sink Sink
	done chan struct{}
}

func newRunner(cfg devices.LinkConfig, h *host) *runner {
	r := &runner{
		cfg: cfg.WithDefaults(), host: h,
		log:        h.log.With().Str("link", cfg.Name).Logger(),
		doubtAfter: suspectsNeeded,
		units:      map[uint8]*unit{}, loops: map[loopKey]*loopState{},
		inbox: inbox{wake: make(chan struct{}, 1), memory: Memory{}.clone(), rates: map[int]float64{}, apart: map[string]bool{}},
	}
	r.dialer = newDialer(r)
	return r
}

// run polls until ctx ends.
func (r *runner) run(ctx context.Context) {
	r.timer = time.NewTimer(0)
	defer r.timer.Stop()
	r.clock.start(time.Now())
	r.stats.since.Store(time.Now().UnixNano())
	defer r.close()
	for ctx.Err() == nil {
		r.takeOrders()
		r.dialer.step(ctx)
		now := time.Now()
		if w := r.dueWork(now); w != nil && !r.overdue(now) {
			r.serveWork(w, now)
			continue
		}
		if j := r.queue.first(); j != nil && !j.at.After(now) && r.open(j, now) {
			r.serve(j, now)
			continue
		}
		r.sleep(ctx, r.until(now))
	}
}

func (r *runner) overdue(now time.Time) bool {
	j := r.queue.first()
	return j != nil && !j.at.After(now)
}

// open reports whether the job may run now; a job that would send a request
// waits for the gate (pause, ceiling).
func (r *runner) open(j *job, now time.Time) bool {
	return !now.Before(r.gate) || !r.wouldAsk(j, now)
}

// until returns how long nothing is to do.
func (r *runner) until(now time.Time) time.Duration {
	next := now.Add(time.Hour)
	if j := r.queue.first(); j != nil {
		next = j.at
		if next.Before(r.gate) && r.wouldAsk(j, now) {
			next = r.gate
		}
	}
	if at := r.nextWork(); !at.IsZero() && at.Before(next) {
		next = at
	}
	if at := r.dialer.next(); !at.IsZero() && at.Before(next) {
		next = at
	}
	return next.Sub(now)
}

func (r *runner) sleep(ctx context.Context, d time.Duration) {
	r.timer.Reset(max(d, 0))
	select {
	case <-ctx.Done():
	case <-r.timer.C:
	case <-r.inbox.wake:
	case res := <-r.dialer.done:
		r.dialer.finished(ctx, res)
	}
}

// close ends the link's connection and what still dials.
func (r *runner) close() {
	r.dialer.stop()
	r.hangUp()
	r.stats.up.Store(false)
	r.takeOrders() // nobody may wait for a runner that has ended
}

func (r *runner) hangUp() {
	if r.conn == nil {
		return
	}
	r.countConn()
	if err := r.conn.Close(); err != nil {
		r.log.Debug().Err(err).Msg("connection closed badly")
	}
	r.conn = nil
}

// post hands over a new set of jobs and returns a channel that closes when the
// runner has taken it.
func (r *runner) post(t *takeover) <-chan struct{} {
	t.done = make(chan struct{})
	r.inbox.mu.Lock()
	if old := r.inbox.jobs; old != nil {
		close(old.done)
	}
	r.inbox.jobs = t
	r.inbox.mu.Unlock()
	r.poke()
	return t.done
}

func (r *runner) poke() {
	select {
	case r.inbox.wake <- struct{}{}:
	default: // already awake
	}
}

func (r *runner) takeOrders() {
	r.inbox.mu.Lock()
	t, works := r.inbox.jobs, r.inbox.works
	r.inbox.jobs, r.inbox.works = nil, nil
	r.inbox.mu.Unlock()
	if t != nil {
		r.adopt(t)
		close(t.done)
	}
	for _, w := range works {
		r.orderWork(w)
	}
}

// adopt swaps the jobs. A loop that was there before keeps its slots and its
// state; new ones are spread over their interval.
func (r *runner) adopt(t *takeover) {
	old := map[string]*job{}
	for _, j := range r.queue {
		for _, m := range j.members {
			old[m.key.tag] = j
		}
	}
	loops, units := map[loopKey]*loopState{}, map[uint8]*unit{}
	r.shortest = time.Hour
	for _, j := range t.jobs {
		r.shortest = min(r.shortest, j.interval)
		j.unit = r.keepUnit(j.id, units)
		for i := range j.members {
			m := &j.members[i]
			m.state = r.keepLoop(m.key)
			loops[m.key] = m.state
		}
	}
	r.clock.place(t.jobs, old, r.host.phase(r.cfg.Name), time.Now())
	r.sink, r.queue, r.loops, r.units = t.sink, t.jobs, loops, units
	r.queue.init()
	r.pack = pack{round: r.pack.round + 1}
	r.refreshWorks()
	r.listUnits()
}

func (r *runner) keepUnit(id uint8, units map[uint8]*unit) *unit {
	u := units[id]
	if u == nil {
		if u = r.units[id]; u == nil {
			u = &unit{id: id, identity: r.host.memory.Units[unitName(r.cfg.Name, id)]}
		}
		units[id] = u
	}
	return u
}

func (r *runner) keepLoop(k loopKey) *loopState {
	if s := r.loops[k]; s != nil {
		return s
	}
	return r.host.recall(k)
}

// listUnits publishes the units for the counters.
func (r *runner) listUnits() {
	list := make([]*unit, 0, len(r.units))
	for _, u := range r.units {
		list = append(list, u)
	}
	slices.SortFunc(list, func(a, b *unit) int { return cmp.Compare(a.id, b.id) })
	r.unitList.Store(&list)
}
