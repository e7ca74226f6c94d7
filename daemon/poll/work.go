package poll

import (
	"fmt"
	"time"

	"ohmdrift/devices"
)

// Work mode: while a person works at a loop it is polled beside its schedule,
// as fast as device and bus allow, so that a bad contact answers the hand at
// once. It spends the same budget as probes of dead units, so the neighbours do
// not notice.

// work is one loop in work mode.
type work struct {
	key   loopKey
	job   *job // the loop's own requests
	until time.Time
	next  time.Time
	last  time.Time
	rate  float64 // polls a second, fading average
}

// workOrder switches work mode of a loop on until a moment, or off.
type workOrder struct {
	loop  int
	until time.Time
}

const (
	longestWork = time.Hour
	fastestWork = 50 * time.Millisecond // faster than a hand can follow
	workRetry   = time.Second
)

// Work polls one loop as fast as its device and the probe budget of its link
// allow, for the given time, at most an hour; zero ends it. Readings of work
// mode carry the time at which they were asked for.
func (p *Poller) Work(loop int, d time.Duration) error {
	r, err := p.runnerOf(loop)
	if err != nil {
		return err
	}
	if d < 0 || d > longestWork {
		return fmt.Errorf("work mode for %v: want 0 to %v", d, longestWork)
	}
	r.inbox.mu.Lock()
	r.inbox.works = append(dropOrder(r.inbox.works, loop), workOrder{loop, time.Now().Add(d)})
	if d == 0 {
		delete(r.inbox.rates, loop)
	}
	r.inbox.mu.Unlock()
	r.poke()
	return nil
}

func dropOrder(orders []workOrder, loop int) []workOrder {
	kept := orders[:0]
	for _, o := range orders {
		if o.loop != loop {
			kept = append(kept, o)
		}
	}
	return kept
}

// WorkRate returns the polls a second that work mode reaches on the loop, 0
// when it is off.
func (p *Poller) WorkRate(loop int) float64 {
	r, err := p.runnerOf(loop)
	if err != nil {
		return 0
	}
	r.inbox.mu.Lock()
	defer r.inbox.mu.Unlock()
	return r.inbox.rates[loop]
}

func (p *Poller) runnerOf(loop int) (*runner, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case loop < 0 || loop >= len(p.plan.Loops):
		return nil, fmt.Errorf("loop %d: not in the plan", loop)
	case p.plan.Loops[loop].Link < 0:
		return nil, fmt.Errorf("%s: has no link", p.plan.Loops[loop].Tag)
	case !p.running:
		return nil, fmt.Errorf("%s: the poller does not run", p.plan.Loops[loop].Tag)
	}
	return p.links[p.plan.Loops[loop].Link].runner, nil
}

// orderWork switches work mode on the runner's goroutine.
func (r *runner) orderWork(o workOrder) {
	now := time.Now()
	kept := r.works[:0]
	for _, w := range r.works {
		if w.loop() != o.loop {
			kept = append(kept, w)
		}
	}
	r.works = kept
	if !o.until.After(now) {
		return
	}
	for _, j := range r.queue {
		for i := range j.members {
			if j.members[i].loop == o.loop {
				r.works = append(r.works, &work{key: j.members[i].key, job: j.lone(i), until: o.until, next: now})
				return
			}
		}
	}
}

func (w *work) loop() int { return w.job.members[0].loop }

// lone returns the i-th member as a job of its own, outside any queue.
func (j *job) lone(i int) *job {
	m := j.members[i]
	requests := j.requests
	if len(j.members) > 1 {
		requests = []devices.Request{m.own}
		m.blocks = []piece{{0, 0, 2 * int(m.own.Count)}}
	}
	return &job{id: j.id, unit: j.unit, interval: j.interval, requests: requests, members: []member{m}}
}

// refreshWorks finds the loops in work mode again after the jobs have changed.
func (r *runner) refreshWorks() {
	old := r.works
	r.works = nil
	r.inbox.mu.Lock()
	r.inbox.rates = map[int]float64{}
	r.inbox.mu.Unlock()
	for _, w := range old {
		for _, j := range r.queue {
			for i := range j.members {
				if j.members[i].key == w.key {
					w.job = j.lone(i)
					r.works = append(r.works, w)
				}
			}
		}
	}
}

// dueWork returns the loop in work mode that is due, ending those whose time is
// over.
func (r *runner) dueWork(now time.Time) *work {
	for i, w := range r.works {
		if !w.until.After(now) {
			r.works = append(r.works[:i], r.works[i+1:]...)
			r.publishRate(w, 0)
			return nil // the next round looks again
		}
		if !w.next.After(now) && !now.Before(r.gate) {
			return w
		}
	}
	return nil
}

// nextWork returns when work mode has something to do, zero for never.
func (r *runner) nextWork() time.Time {
	var next time.Time
	for _, w := range r.works {
		at := w.next
		if at.Before(r.gate) {
			at = r.gate
		}
		if w.until.Before(at) {
			at = w.until
		}
		if next.IsZero() || at.Before(next) {
			next = at
		}
	}
	return next
}

// serveWork polls a loop in work mode once.
func (r *runner) serveWork(w *work, now time.Time) {
	u := w.job.unit
	if r.conn == nil || r.quiet(now) || u.breaker.suspect() {
		w.next = now.Add(workRetry)
		r.publishRate(w, 0)
		return
	}
	if !r.probes.may(now) {
		w.next = now.Add(r.probes.wait())
		return
	}
	w.job.slot, w.job.at = now, now
	err := r.poll(w.job)
	end := time.Now()
	took := end.Sub(now)
	r.probes.spend(took)
	r.stats.probing.Add(int64(took))
	w.next = now.Add(max(fastestWork, w.job.members[0].decoder.Profile().Renew))
	if err != nil {
		w.next = end.Add(workRetry)
		r.publishRate(w, 0)
		if devices.FaultOf(err) == devices.FaultLost {
			r.dialer.reopen(ReasonLost, err.Error())
		}
		return
	}
	w.measure(now)
	r.publishRate(w, w.rate)
	r.deliver(w.job, took, end)
}

// measure follows the rate that is reached.
func (w *work) measure(now time.Time) {
	if !w.last.IsZero() {
		rate := 1 / max(now.Sub(w.last).Seconds(), 1e-3)
		if w.rate == 0 {
			w.rate = rate
		}
		w.rate += (rate - w.rate) / 4
	}
	w.last = now
}

func (r *runner) publishRate(w *work, rate float64) {
	r.inbox.mu.Lock()
	defer r.inbox.mu.Unlock()
	if rate == 0 {
		delete(r.inbox.rates, w.loop())
		return
	}
	r.inbox.rates[w.loop()] = rate
}
