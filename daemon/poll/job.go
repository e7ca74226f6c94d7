package poll

import (
	"cmp"
	"slices"
	"time"

	"ohmdrift/devices"
)

// job is what is read together: one request with the loops that lie in it, or
// all requests of the one loop that needs several.
type job struct {
	id       uint8
	unit     *unit
	interval time.Duration
	requests []devices.Request // wire addresses of the unit
	members  []member

	slot    time.Time // when it is due; monotonic
	at      time.Time // when it runs: slot, or later for another attempt in the same slot
	tries   int       // attempts in this slot that the device put off
	refused int       // slots in a row with a configuration exception
	asked   time.Time // of these, the last
	problem string    // what the unit said
	turn    int       // slots since the plan began
	heap    int
}

// member is one loop of a job.
type member struct {
	loop    int // index in the plan
	key     loopKey
	decoder *devices.Decoder
	curve   devices.Curve // of the sensor; nil = unknown
	state   *loopState
	own     devices.Request // the loop's only request, where it has one
	blocks  []piece         // one per request of the loop's decoder
}

// loopKey tells whether a loop is the same after a reload.
type loopKey struct {
	tag     string
	unit    uint8
	base    uint16
	profile string
}

// piece is where a decoder's block lies in the job's answers.
type piece struct{ request, offset, bytes int }

// requestOverhead is what a request of its own costs beyond its registers, in
// registers: 13 bytes of frames and two silences of 3.5 characters make ten,
// and the unit's turnaround at 19200 baud about nine more.
const requestOverhead = 19

// jobsOf plans the loops of one link: loops of one unit whose registers touch
// are read together where that saves bus time. Registers that no profile
// declares are never read. apart holds the loops that a unit has refused to
// give together.
func jobsOf(c *compiled, link int, apart map[string]bool) []*job {
	var jobs []*job
	groups := map[groupKey][]int{}
	var order []groupKey
	for i := range c.Loops {
		l := &c.Loops[i]
		if l.Link != link {
			continue
		}
		d := c.decoders[i]
		if len(d.Requests()) != 1 || apart[l.Tag] {
			jobs = append(jobs, loneJob(c, i))
			continue
		}
		k := groupKey{l.Unit, d.Requests()[0].Table, l.Interval}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], i)
	}
	for _, k := range order {
		jobs = append(jobs, coalesce(c, groups[k])...)
	}
	slices.SortStableFunc(jobs, func(a, b *job) int { return cmp.Compare(a.members[0].loop, b.members[0].loop) })
	return jobs
}

type groupKey struct {
	unit     uint8
	table    devices.Table
	interval time.Duration
}

// loneJob reads one loop by its own requests.
func loneJob(c *compiled, i int) *job {
	l := &c.Loops[i]
	j := &job{id: l.Unit, interval: l.Interval}
	m := member{loop: i, key: loopKey{l.Tag, l.Unit, l.Base, l.Profile.Name}, decoder: c.decoders[i], curve: curveOf(l)}
	for n, r := range c.decoders[i].Requests() {
		r.Addr += l.Base
		r.Max = uint16(min(uint32(r.Max), 1<<16-uint32(r.Addr)))
		j.requests = append(j.requests, r)
		m.blocks = append(m.blocks, piece{n, 0, 2 * int(r.Count)})
	}
	m.own = j.requests[0]
	j.members = []member{m}
	return j
}

// split takes a joint request apart again, each loop in the same slot.
func (j *job) split() []*job {
	var lone []*job
	for _, m := range j.members {
		m.blocks = []piece{{0, 0, 2 * int(m.own.Count)}}
		lone = append(lone, &job{
			id: j.id, unit: j.unit, interval: j.interval, requests: []devices.Request{m.own},
			members: []member{m}, slot: j.slot, at: j.at,
		})
	}
	return lone
}

// coalesce joins one-request loops of one unit, table and interval.
func coalesce(c *compiled, loops []int) []*job {
	first := func(i int) uint32 { return uint32(c.Loops[i].Base) + uint32(c.decoders[i].Requests()[0].Addr) }
	slices.SortStableFunc(loops, func(a, b int) int { return cmp.Compare(first(a), first(b)) })
	var jobs []*job
	var last *job
	limit := uint32(0)
	for _, i := range loops {
		next := loneJob(c, i)
		most := mostRegisters(c.Loops[i].Profile)
		if last != nil {
			most = min(most, limit)
			if join(last, next, most) {
				limit = most
				continue
			}
			most = mostRegisters(c.Loops[i].Profile)
		}
		jobs, last, limit = append(jobs, next), next, most
	}
	return jobs
}

func mostRegisters(p *devices.Profile) uint32 {
	if p.MaxRead > 0 {
		return uint32(min(p.MaxRead, devices.MaxRegisters))
	}
	return devices.MaxRegisters
}

// join adds next's registers to a's request if they overlap or touch, or if
// what lies between is declared and cheaper to read than to ask again.
func join(a, next *job, most uint32) bool {
	ra, rn := &a.requests[0], next.requests[0]
	start, end := uint32(ra.Addr), uint32(ra.Addr)+uint32(ra.Count)
	declared := start + uint32(ra.Max)
	from, to := uint32(rn.Addr), uint32(rn.Addr)+uint32(rn.Count)
	if from > end && (from > declared || from-end > requestOverhead) {
		return false
	}
	if max(to, end)-start > most {
		return false
	}
	m := next.members[0]
	m.blocks[0].offset = int(from-start) * 2
	a.members = append(a.members, m)
	ra.Count = uint16(max(to, end) - start)
	ra.Max = uint16(min(max(declared, from+uint32(rn.Max))-start, most))
	return true
}

// before orders jobs by the time they run.
func (j *job) before(o *job) bool { return j.at.Before(o.at) }

// queue is a heap of jobs, the most overdue first.
type queue []*job

func (q queue) first() *job {
	if len(q) == 0 {
		return nil
	}
	return q[0]
}

// fix restores the order after the job's time has changed.
func (q queue) fix(j *job) {
	if !q.up(j.heap) {
		q.down(j.heap)
	}
}

func (q queue) init() {
	for i, j := range q {
		j.heap = i
	}
	for i := len(q)/2 - 1; i >= 0; i-- {
		q.down(i)
	}
}

func (q queue) swap(i, k int) {
	q[i], q[k] = q[k], q[i]
	q[i].heap, q[k].heap = i, k
}

func (q queue) up(i int) bool {
	moved := false
	for i > 0 {
		parent := (i - 1) / 2
		if !q[i].before(q[parent]) {
			break
		}
		q.swap(i, parent)
		i, moved = parent, true
	}
	return moved
}

func (q queue) down(i int) {
	for {
		small := i
		for k := 2*i + 1; k <= 2*i+2 && k < len(q); k++ {
			if q[k].before(q[small]) {
				small = k
			}
		}
		if small == i {
			return
		}
		q.swap(i, small)
		i = small
	}
}
