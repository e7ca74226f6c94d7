package poll

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
)

// verdict is what becomes of a slot before anything is sent.
type verdict struct {
	ask     bool
	later   time.Time       // ask again then, if the slot lasts so long
	quality measure.Quality // of the slot when nothing is asked
	problem string
}

// refusedPause is the time between requests that a unit has refused before: a
// register map does not mend itself.
const refusedPause = 30 * time.Second

// hopeStep is how often a slot looks for a connection that is about to come.
const hopeStep = 20 * time.Millisecond

const problemQuiet = "quiet window of the link: not polled"

// judge decides whether the job's slot leads to a request.
func (r *runner) judge(j *job, now time.Time) verdict {
	switch {
	case r.quiet(now):
		return verdict{quality: measure.Stale, problem: problemQuiet}
	case r.conn == nil && r.dialer.hopeful:
		return verdict{later: now.Add(hopeStep), quality: measure.Comms, problem: r.dialer.problem}
	case r.conn == nil:
		return verdict{quality: measure.Comms, problem: r.dialer.problem}
	case j.unit == r.blamed && len(r.units) > 1:
		return verdict{quality: measure.Comms, problem: r.dialer.problem}
	case j.unit.breaker.open() && (!j.unit.breaker.allow(now) || !r.probes.may(now)):
		return verdict{quality: j.unit.quality, problem: j.unit.why()}
	case j.refused >= 3 && now.Sub(j.asked) < refusedPause:
		return verdict{quality: measure.Configuration, problem: j.problem}
	case j.unit.breaker.suspect() && now.Before(r.silent.busyTill):
		// A gateway may still be waiting for a unit that does not answer: what
		// is asked now waits with it and would look dead as well.
		return verdict{later: r.silent.busyTill, quality: measure.Comms, problem: j.unit.why()}
	case r.polite.yields(j):
		return verdict{quality: measure.Stale, problem: problemYield}
	}
	return verdict{ask: true}
}

func (r *runner) wouldAsk(j *job, now time.Time) bool { return r.judge(j, now).ask }

func (r *runner) quiet(now time.Time) bool {
	if len(r.cfg.Quiet) == 0 {
		return false
	}
	local := r.clock.wall(now).Local()
	for _, w := range r.cfg.Quiet {
		if w.Contains(local) {
			return true
		}
	}
	return false
}

// serve brings one job's slot to its end: a request and its readings, or
// readings that say why there was none, or another attempt later in the slot.
func (r *runner) serve(j *job, now time.Time) {
	if r.clock.observe(now) {
		r.stats.jumps.Add(1)
		r.log.Warn().Dur("shift", r.clock.shift).Msg("wall clock stepped; polling goes on, samples carry the new time")
	}
	if n := j.skip(now); n > 0 {
		r.stats.missed.Add(n * uint64(len(j.members)))
	}
	v := r.judge(j, now)
	if !v.later.IsZero() && v.later.Before(j.slot.Add(j.interval)) {
		j.at = v.later
		r.queue.fix(j)
		return
	}
	if !v.ask {
		if v.problem == problemYield {
			r.stats.yielded.Add(uint64(len(j.members)))
		}
		r.deliverNone(j, v.quality, v.problem)
		r.queue.done(j)
		return
	}
	if j.tries == 0 {
		r.stats.lateness.observe(now.Sub(j.slot))
	}
	err := r.poll(j)
	end := time.Now()
	if err == nil {
		r.deliver(j, end.Sub(now), end)
		r.queue.done(j)
		r.identify(j, end)
		return
	}
	r.failed(j, err, end)
}

// poll sends the job's requests and fills r.answers.
func (r *runner) poll(j *job) error {
	for attempt := 0; ; attempt++ {
		skewed, err := r.pollOnce(j)
		if err != nil || !skewed || attempt == 1 {
			r.reading.Quality = measure.Good
			if skewed {
				r.reading.Quality = measure.Skewed
			}
			return err
		}
	}
}

// pollOnce reads all requests of the job. Where one loop needs several, the one
// that tells the measuring cycle (else the first) is read before and after the
// others: values that have moved on meanwhile are of different moments.
func (r *runner) pollOnce(j *job) (skewed bool, err error) {
	n := len(j.requests)
	for len(r.answers) < n {
		r.answers = append(r.answers, nil)
	}
	r.answers = r.answers[:n]
	if n == 1 {
		r.answers[0], err = r.ask(j, &j.requests[0])
		return false, err
	}
	d := j.members[0].decoder
	c := d.CycleRequest()
	for k := range n {
		i := (c + k) % n
		if r.answers[i], err = r.ask(j, &j.requests[i]); err != nil {
			return false, err
		}
	}
	again, err := r.ask(j, &j.requests[c])
	if err != nil {
		return false, err
	}
	if d.TellsCycle() {
		return d.CycleOf(r.answers[c]) != d.CycleOf(again), nil
	}
	size := 2 * int(j.requests[c].Count)
	return !bytes.Equal(r.answers[c][:size], again[:size]), nil
}

// ask sends one request and keeps the books on unit, link and bus time.
func (r *runner) ask(j *job, q *devices.Request) ([]byte, error) {
	u := j.unit
	if r.conn.AnsweredLate(u.id) {
		u.slow = true
	}
	start := time.Now()
	r.asked = start
	b, err := r.conn.Read(devices.Ask{
		Unit: u.id, Table: q.Table, Addr: q.Addr, Count: q.Count, Max: q.Max, Timeout: r.timeout(u),
	})
	end := time.Now()
	took := end.Sub(start)
	fault := devices.FaultOf(err)
	r.stats.requests[fault].Add(1)
	r.stats.busy.Add(int64(took))
	u.stats.requests.Add(1)
	if u.breaker.suspect() && fault != devices.FaultNone {
		r.probes.spend(took)
		r.stats.probing.Add(int64(took))
	}
	r.gate = r.pace(start, end)
	if err != nil {
		u.slow = false // not even in the whole time
		u.stats.failed.Add(1)
		return nil, err
	}
	r.stats.roundTrip.observe(took)
	if r.silent.timeouts > 0 {
		// The gateway may have waited for a dead unit before it came to this
		// request: that is bus time spent on the dead one.
		if held := took - r.excess - r.cfg.WireTime(q.Count); held > 0 {
			r.probes.spend(held)
			r.stats.probing.Add(int64(held))
		}
		return b, nil
	}
	r.learn(took, q.Count)
	r.polite.observe(took, r.cfg.SoleMaster)
	r.stats.slowdown.Store(int32(r.polite.every))
	return b, nil
}

// pace returns when the next request may go out: after the link's pause, and
// not above its ceiling.
func (r *runner) pace(start, end time.Time) time.Time {
	gate := end.Add(r.cfg.Pause)
	if r.cfg.MaxRequests > 0 {
		if t := start.Add(time.Duration(float64(time.Second) / r.cfg.MaxRequests)); t.After(gate) {
			gate = t
		}
	}
	return gate
}

// timeout returns how long the unit may take. A unit that may be dead gets only
// what living ones on this link need, and not so long that the others would
// notice; one that turns out to be slow gets the whole timeout again.
func (r *runner) timeout(u *unit) time.Duration {
	if !u.breaker.suspect() || u.slow || r.excess == 0 {
		return r.cfg.Timeout
	}
	unnoticed := max(time.Duration(noticed*float64(r.shortest)), 4*r.usual)
	return min(r.cfg.Timeout, 3*r.excess+schedulers, unnoticed)
}

const (
	// schedulers is what a suspect unit is given beyond what living ones need:
	// those of gateways and of this machine take a few tens of milliseconds at
	// times (common practice).
	schedulers = 30 * time.Millisecond
	// noticed is the share of the shortest interval of a link by which waiting
	// for a dead unit may put off a sound one.
	noticed = 0.08
)

// learn follows the usual and the longest time that units take beyond the wire;
// both fade over some hundred answers.
func (r *runner) learn(took time.Duration, count uint16) {
	x := max(took-r.cfg.WireTime(count), time.Microsecond)
	r.usual += (x - r.usual) / 64
	if x > r.excess {
		r.excess = x
		return
	}
	r.excess -= (r.excess - x) / 256
}

// failed decides what a failed request means: for the slot, the unit, the link.
func (r *runner) failed(j *job, err error, now time.Time) {
	switch fault := devices.FaultOf(err); fault {
	case devices.FaultLost:
		r.lost(j, err, now)
	case devices.FaultTimeout:
		r.timedOut(j, err, now)
	case devices.FaultGarbled:
		if j.unit.breaker.known && j.unit.breaker.fails == 0 && j.tries == 0 {
			r.queue.putOff(j, now) // a disturbed frame: once more, at once
			return
		}
		r.unitFailed(j, err, now)
	case devices.FaultPath:
		r.heard()
		r.unitFailed(j, err, now)
	case devices.FaultBusy:
		r.heard()
		r.busy(j, err, now)
	case devices.FaultConfiguration:
		r.heard()
		r.refusedByUnit(j, err, now)
	case devices.FaultDevice:
		r.heard()
		j.unit.breaker.good()
		r.endSlot(j, fault.Quality(), err.Error())
	default: // unsynced, refused: nothing was learned of the unit
		r.endSlot(j, fault.Quality(), err.Error())
	}
	j.unit.stats.state.Store(j.unit.breaker.state())
}

func (r *runner) endSlot(j *job, q measure.Quality, problem string) {
	r.deliverNone(j, q, problem)
	r.queue.done(j)
}

// heard notes that the link carries answers.
func (r *runner) heard() {
	r.lastGot = time.Now()
	r.silent, r.blamed = silence{}, nil
	r.dialer.answered()
}

// lost opens the link again. A connection that had worked may have been closed
// for being idle: the slot gets another attempt on the new one. What is lost
// again at the same request, or loses its frames by the answer, is held against
// the unit: some gateways hang up on units that they do not know.
func (r *runner) lost(j *job, err error, now time.Time) {
	if errors.Is(err, devices.ErrStopped) {
		return // the poller ends; the slot is nobody's fault
	}
	worked := r.dialer.proven
	if errors.Is(err, devices.ErrFraming) {
		r.dialer.reopen(ReasonFraming, err.Error())
		r.unitFailed(j, err, now)
		r.blame(j.unit, worked)
		return
	}
	r.dialer.reopen(ReasonLost, err.Error())
	switch {
	case worked && j.tries == 0:
		r.queue.putOff(j, now.Add(min(j.interval/2, time.Second)))
	case j.tries > 0:
		r.unitFailed(j, err, now)
	default:
		r.endSlot(j, measure.Comms, err.Error())
	}
	r.blame(j.unit, worked)
}

// blame remembers the unit that was asked when a connection broke that had not
// answered yet: on the next one another unit goes first, and shows whether the
// connection or the unit is to blame.
func (r *runner) blame(u *unit, worked bool) {
	if !worked {
		r.blamed = u
	}
}

// unitFailed counts against the unit.
func (r *runner) unitFailed(j *job, err error, now time.Time) {
	u := j.unit
	was := u.breaker.open()
	u.breaker.fail(now)
	u.identifyAt = time.Time{} // what comes back may be another device
	u.failed, u.quality, u.problem = now, devices.FaultOf(err).Quality(), err.Error()
	if u.breaker.open() && !was {
		r.log.Warn().Uint8("unit", u.id).Str("problem", u.problem).Msg("unit does not answer; probing now and then")
	}
	r.endSlot(j, u.quality, u.problem)
}

// timedOut counts against the unit, and perhaps the link. Where slots are long
// a sound unit gets a second chance in the same one: the frame may have been
// lost, or the connection may be half open, which should not take minutes to
// find.
func (r *runner) timedOut(j *job, err error, now time.Time) {
	blame := r.silent.timedOut(j.unit.id, len(r.units), r.dialer.proven, r.asked, now, r.cfg.Timeout)
	if j.unit.breaker.known && j.unit.breaker.fails == 0 && j.tries == 0 && j.interval >= 4*r.cfg.Timeout {
		r.queue.putOff(j, now)
	} else {
		r.unitFailed(j, err, now)
	}
	if blame {
		r.linkSilent(err)
	}
}

// linkSilent opens a connection again that nobody answers on. What the units
// failed at since the last answer is not held against them.
func (r *runner) linkSilent(err error) {
	for _, u := range r.units {
		if u.failed.After(r.lastGot) {
			u.breaker.forgive()
			u.stats.state.Store(u.breaker.state())
		}
	}
	r.dialer.reopen(ReasonSilent, fmt.Sprintf("no unit answers; last: %v", err))
}

// busy puts a slot off that the device asked to come back for.
func (r *runner) busy(j *job, err error, now time.Time) {
	wait := min(j.interval/4, 100*time.Millisecond<<j.tries)
	if again := now.Add(wait); j.tries < 3 && again.Before(j.slot.Add(j.interval)) {
		r.queue.putOff(j, again)
		return
	}
	j.unit.breaker.good()
	r.endSlot(j, measure.Comms, err.Error())
}

// refusedByUnit splits a joint request once and for good; a loop's own request
// that is refused is a mistake in the register map, which asking again does not
// mend: after three slots it is asked every 30 s only.
func (r *runner) refusedByUnit(j *job, err error, now time.Time) {
	j.unit.breaker.good()
	if len(j.members) > 1 {
		r.split(j, now)
		return
	}
	j.refused++
	j.asked, j.problem = now, err.Error()
	r.endSlot(j, measure.Configuration, j.problem)
}

func (r *runner) split(j *job, now time.Time) {
	r.stats.splits.Add(1)
	r.inbox.mu.Lock()
	for _, m := range j.members {
		r.inbox.apart[m.key.tag] = true
	}
	r.inbox.mu.Unlock()
	lone := j.split()
	for _, l := range lone {
		l.at = now
	}
	r.queue[j.heap] = lone[0]
	r.queue = append(r.queue, lone[1:]...)
	r.queue.init()
	r.refreshWorks()
	r.log.Info().Uint8("unit", j.id).Int("loops", len(lone)).Msg("unit refuses a joint request; reading its loops one by one")
}
