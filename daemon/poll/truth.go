package poll

import (
	"fmt"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// loopState is what polling remembers of one loop from poll to poll. It belongs
// to the goroutine of its link.
type loopState struct {
	freeze   freeze
	suspects int    // answers in a row whose byte order looks wrong
	order    string // what to configure instead; empty = nothing to say
	print    fingerprint
	changed  string // the device has changed; told with the next reading
}

const (
	suspectsNeeded = 3 // readings in a row
	problemFrozen  = "the values repeat bit for bit, which this loop has never done for so long; is the device still measuring?"
	problemPack    = "no loop behind this link changes any more; the gateway seems to repeat old values"
	problemCycle   = "the device's cycle counter stands still: it has stopped measuring"
)

// examine compares a decoded reading with what the loop used to give.
func (r *runner) examine(j *job, m *member) {
	s := m.state
	r.examineOrder(m)
	r.examineFreeze(j, m)
	if r.reading.Quality.Usable() {
		if text := s.print.take(&r.reading.Sample); text != "" {
			s.changed = text
		}
	}
	r.reading.DeviceChanged, s.changed = s.changed, ""
}

// examineOrder doubts the byte order after some readings that look like it, and
// says which order would be right.
func (r *runner) examineOrder(m *member) {
	s := m.state
	if !m.decoder.Suspect(r.blocks, m.curve) {
		s.suspects, s.order = 0, ""
		return
	}
	if s.suspects++; s.suspects < r.doubtAfter {
		return
	}
	if s.suspects == r.doubtAfter {
		if o, ok := m.decoder.Suggest(r.blocks, m.curve); ok {
			s.order = fmt.Sprintf("the values make no sense in the configured byte order but do in %s; set the order of the profile's fields", o)
		}
	}
	if s.order != "" {
		r.reading.Degrade(measure.Configuration, s.order)
	}
}

func (r *runner) examineFreeze(j *job, m *member) {
	f := &m.state.freeze
	now := j.slot
	renew := m.decoder.Profile().Renew
	if m.decoder.TellsCycle() {
		if f.cycle.stopped(r.reading.Cycle, now, renew, j.interval) {
			r.reading.Degrade(measure.Frozen, problemCycle)
		}
		return
	}
	learned := f.learned
	changed := f.take(r.blocks, now)
	if f.learned != learned {
		r.remember(m)
	}
	r.pack.take(f, changed)
	switch {
	case f.alone(now, renew):
		f.frozen = true
		r.reading.Degrade(measure.Frozen, problemFrozen)
	case !changed && f.learned >= stretchesPack && r.pack.frozen():
		f.frozen = true
		r.reading.Degrade(measure.Frozen, problemPack)
	}
}

// curveOf returns the sensor's curve for the coherence of sensor and reading.
func curveOf(l *Loop) devices.Curve {
	if !l.Sensor.Valid() {
		return nil
	}
	s := l.Sensor
	return func(ohm float64) (float64, bool) {
		t, err := s.Temperature(quantity.Ohm(ohm))
		return float64(t), err == nil
	}
}

// identityEvery is how often a device that has a name plate is asked for it,
// beside each time that it comes back.
const identityEvery = time.Hour

// identify reads the unit's name plate when that is due, and tells all its
// loops when it has changed.
func (r *runner) identify(j *job, now time.Time) {
	u := j.unit
	if !j.members[0].decoder.Profile().Identity || now.Before(u.identifyAt) {
		return
	}
	u.identifyAt = now.Add(identityEvery)
	id, err := r.conn.Identify(u.id, r.cfg.Timeout)
	r.gate = r.pace(now, time.Now())
	switch {
	case err != nil && devices.FaultOf(err) == devices.FaultLost:
		r.dialer.reopen(ReasonLost, err.Error())
	case err != nil:
		r.log.Debug().Uint8("unit", u.id).Err(err).Msg("no name plate")
	case u.identity != (devices.Identity{}) && id != u.identity:
		r.tellChanged(u, fmt.Sprintf("the device says that it is %q now, it was %q", id, u.identity))
		fallthrough
	default:
		u.identity = id
		r.rememberUnit(u)
	}
}

func (r *runner) tellChanged(u *unit, text string) {
	r.log.Warn().Uint8("unit", u.id).Str("what", text).Msg("device changed")
	for _, j := range r.queue {
		if j.unit != u {
			continue
		}
		for i := range j.members {
			j.members[i].state.changed = text
		}
	}
}
