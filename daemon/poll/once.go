package poll

import (
	"context"
	"sync"
	"time"

	"ohmdrift/devices"
)

// ReadOnce reads every loop of the plan once, all links side by side, and hands
// each reading to sink, one at a time. What cannot be read is a reading with
// bad quality that says why. The error is one of the plan, or of ctx.
func ReadOnce(ctx context.Context, plan Plan, sink Sink, o Options) error {
	c, err := compile(plan)
	if err != nil {
		return err
	}
	h := newHost(o)
	one := &oneByOne{sink: sink}
	var wg sync.WaitGroup
	for i, cfg := range plan.Links {
		jobs := jobsOf(&c, i, nil)
		if len(jobs) == 0 {
			continue
		}
		r := newRunner(cfg, h)
		r.doubtAfter = 1
		r.post(&takeover{jobs: jobs, sink: one})
		wg.Go(func() { r.once(ctx) })
	}
	wg.Wait()
	return ctx.Err()
}

// oneByOne lets one reading at a time through to a sink.
type oneByOne struct {
	mu   sync.Mutex
	sink Sink
}

// Take hands the reading on.
func (s *oneByOne) Take(loop int, r *devices.Reading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sink.Take(loop, r)
}

// once serves every job of the link one time.
func (r *runner) once(ctx context.Context) {
	r.timer = time.NewTimer(0)
	defer r.timer.Stop()
	r.clock.start(time.Now())
	r.takeOrders()
	defer r.close()
	r.connectOnce(ctx)
	for _, j := range append([]*job(nil), r.queue...) {
		r.serveOnce(ctx, j)
	}
}

// connectOnce tries the link's paths until one opens.
func (r *runner) connectOnce(ctx context.Context) {
	r.dialer.hopeful = false // nobody dials beside this
	paths := 1
	if r.cfg.Second != "" {
		paths = 2
	}
	for r.dialer.path = range paths {
		c, err := r.host.dial(ctx, r.cfg, r.dialer.path)
		if err == nil {
			r.stats.dials.Add(1)
			r.dialer.cancel = func() {}
			r.dialer.finished(ctx, dialled{conn: c})
			return
		}
		r.dialer.problem = err.Error()
	}
}

// serveOnce brings one job to its reading. A job that was joined and is refused
// comes apart in the queue; its loops are served here as well.
func (r *runner) serveOnce(ctx context.Context, j *job) {
	j.unit.slow = true // no hurry: every unit gets its whole timeout
	j.slot = time.Now()
	j.at = j.slot
	split := r.stats.splits.Load()
	for r.pending(j) && ctx.Err() == nil {
		if d := max(time.Until(j.at), time.Until(r.gate)); d > 0 {
			r.sleep(ctx, d)
			continue
		}
		if r.conn == nil && r.stats.dials.Load() > 0 {
			r.connectOnce(ctx) // it was there: lost, or closed after several units were silent
		}
		r.serve(j, time.Now())
		if r.stats.splits.Load() != split {
			for _, lone := range r.loneJobs(j) {
				r.serveOnce(ctx, lone)
			}
			return
		}
	}
}

// pending reports whether the job's slot has not ended yet: its end moves it on
// by an interval.
func (r *runner) pending(j *job) bool { return j.turn == 0 }

// loneJobs returns the jobs that took the place of j.
func (r *runner) loneJobs(j *job) []*job {
	var lone []*job
	for _, m := range j.members {
		for _, k := range r.queue {
			if len(k.members) == 1 && k.members[0].loop == m.loop {
				lone = append(lone, k)
			}
		}
	}
	return lone
}
