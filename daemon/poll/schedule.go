package poll

import (
	"maps"
	"math"
	"slices"
	"time"
)

// clock runs slots on monotonic time and knows what the wall clock says of
// them. A step of the wall clock moves no poll; it only shifts the times that
// samples carry, and is counted.
type clock struct {
	ref   time.Time // a moment with both readings
	shift time.Duration
}

// jump is the smallest step of the wall clock that counts as one; less is the
// slewing of a time service.
const jump = 500 * time.Millisecond

func (c *clock) start(now time.Time) { c.ref, c.shift = now, 0 }

// observe compares the clocks and reports whether the wall clock has stepped.
func (c *clock) observe(now time.Time) bool { return c.compare(now.Round(0), now.Sub(c.ref)) }

// compare is observe with the two readings apart.
func (c *clock) compare(wall time.Time, elapsed time.Duration) bool {
	drift := wall.Sub(c.ref.Round(0).Add(elapsed))
	if (drift - c.shift).Abs() < jump {
		return false
	}
	c.shift = drift
	return true
}

// wall returns the wall time of a slot, without its monotonic reading.
func (c *clock) wall(slot time.Time) time.Time { return slot.Round(0).Add(c.shift) }

// place gives every job its next slot. A job with a loop that was polled before
// at the same interval goes on in that loop's slots. The others are spread
// evenly over their interval, on a grid of the wall clock, so that a restart
// finds the same slots again.
func (c *clock) place(jobs []*job, old map[string]*job, phase float64, now time.Time) {
	now = c.ref.Add(now.Sub(c.ref))
	fresh, kept := map[time.Duration][]*job{}, map[time.Duration]int{}
	for _, j := range jobs {
		if o := predecessor(j, old); o != nil {
			j.slot, j.at, j.tries, j.refused = o.slot, o.at, o.tries, o.refused
			kept[j.interval]++
			continue
		}
		fresh[j.interval] = append(fresh[j.interval], j)
	}
	for n, interval := range slices.Sorted(maps.Keys(fresh)) {
		group := fresh[interval]
		shift := phase + float64(n)*golden // so that slots of two intervals do not meet
		for i, j := range group {
			part := (float64(i) + shift) / float64(len(group))
			if k := kept[interval]; k > 0 {
				part = float64(k+i)*golden + shift // falls between those that are there
			}
			j.slot = c.next(interval, part, now)
			j.at = j.slot
		}
	}
}

// golden spreads any number of points over a circle without a plan.
const golden = 0.6180339887498949

func predecessor(j *job, old map[string]*job) *job {
	for _, m := range j.members {
		if o := old[m.key.tag]; o != nil && o.interval == j.interval {
			return o
		}
	}
	return nil
}

// next returns the first moment from now on that lies part of an interval after
// a multiple of the interval on the wall clock.
func (c *clock) next(interval time.Duration, part float64, now time.Time) time.Time {
	_, frac := math.Modf(part)
	wall := c.wall(now)
	slot := wall.Truncate(interval).Add(time.Duration(frac * float64(interval)))
	d := slot.Sub(wall)
	if d < 0 {
		d += interval
	}
	return now.Add(d)
}

// skip moves a job that is late by whole intervals to its latest slot and
// returns how many slots passed by: they are not made up for.
func (j *job) skip(now time.Time) uint64 {
	n := now.Sub(j.slot) / j.interval
	if n <= 0 || j.tries > 0 {
		return 0
	}
	j.slot = j.slot.Add(n * j.interval)
	return uint64(n)
}

// done schedules the job's next slot.
func (q queue) done(j *job) {
	j.tries, j.turn = 0, j.turn+1
	j.slot = j.slot.Add(j.interval)
	j.at = j.slot
	q.fix(j)
}

// putOff schedules another attempt in the same slot.
func (q queue) putOff(j *job, at time.Time) {
	j.tries++
	j.at = at
	q.fix(j)
}
