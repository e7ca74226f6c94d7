package poll

import (
	"time"

	"ohmdrift/diagnostics/measure"
)

// deliver decodes the answers of a job and hands every loop's reading on.
func (r *runner) deliver(j *job, took time.Duration, end time.Time) {
	r.heard()
	j.refused = 0
	if j.unit.breaker.open() {
		r.log.Info().Uint8("unit", j.id).Int("failures", j.unit.breaker.fails).Msg("unit answers again")
	}
	j.unit.breaker.good()
	j.unit.stats.state.Store(0)
	skewed := r.reading.Quality == measure.Skewed
	late := end.After(j.slot.Add(j.interval))
	at := r.clock.wall(j.slot)
	for i := range j.members {
		m := &j.members[i]
		r.decode(m, at)
		r.reading.Took = took
		r.examine(j, m)
		if skewed {
			r.reading.Degrade(measure.Skewed, problemSkewed)
		}
		if late {
			r.reading.Degrade(measure.Late, problemLate)
		}
		r.hand(j, m)
	}
}

const (
	problemSkewed = "the loop's registers take several requests, and the device renewed them in between"
	problemLate   = "the answer came after the end of its slot"
)

// decode fills r.reading from the member's part of the answers.
func (r *runner) decode(m *member, at time.Time) {
	r.blocks = r.blocks[:0]
	for _, p := range m.blocks {
		r.blocks = append(r.blocks, r.answers[p.request][p.offset:p.offset+p.bytes])
	}
	m.decoder.Decode(r.blocks, at, &r.reading)
}

// deliverNone hands on, for every loop of the job, that this slot brought
// nothing, and why.
func (r *runner) deliverNone(j *job, q measure.Quality, problem string) {
	at := r.clock.wall(j.slot)
	for i := range j.members {
		r.reading.Sample = measure.Empty(at, q)
		r.reading.Took, r.reading.Problem, r.reading.DeviceChanged = 0, problem, ""
		r.hand(j, &j.members[i])
	}
}

func (r *runner) hand(j *job, m *member) {
	q := r.reading.Quality
	r.stats.polls.Add(1)
	r.stats.quality[min(int(q), qualities-1)].Add(1)
	j.unit.stats.polls.Add(1)
	if q == measure.Good {
		j.unit.stats.good.Add(1)
	}
	r.sink.Take(m.loop, &r.reading)
}

// countConn adds what a connection has carried to the link's counters.
func (r *runner) countConn() {
	out, in := r.conn.Bytes()
	r.stats.bytesOut.Add(out)
	r.stats.bytesIn.Add(in)
	r.stats.strays.Add(r.conn.Strays())
}
