package web

import (
	"math"
	"slices"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// band is one series of a trend: the smallest, mean and largest value of each
// step, so that a spike of one poll is still there in a picture of a year.
type band struct {
	Min  []number `json:"min"`
	Mean []number `json:"mean"`
	Max  []number `json:"max"`
}

// cell gathers the values of one series in one step.
type cell struct {
	n             int
	min, max, sum float64
}

func (c *cell) add(x float64) {
	if !quantity.Known(x) {
		return
	}
	if c.n == 0 {
		c.min, c.max = x, x
	}
	c.n++
	c.min, c.max, c.sum = min(c.min, x), max(c.max, x), c.sum+x
}

func (b *band) put(c cell) {
	if c.n == 0 {
		n := number(math.NaN())
		b.Min, b.Mean, b.Max = append(b.Min, n), append(b.Mean, n), append(b.Max, n)
		return
	}
	b.Min, b.Mean, b.Max = append(b.Min, number(c.min)), append(b.Mean, number(c.sum/float64(c.n))), append(b.Max, number(c.max))
}

// decimator turns points in time order into at most width steps. Only steps
// with points in them are kept, and one empty step where there is a gap: sparse
// records stay connected, an outage does not.
type decimator struct {
	from time.Time
	step time.Duration

	at            int64 // number of the step being gathered
	open          bool
	usual         int64 // steps between points, the smaller of the last two
	err, u        cell
	contact       [measure.LeadCount]cell
	times         []int64
	errs, us      band
	contacts      [measure.LeadCount]band
	contactsKnown [measure.LeadCount]bool
}

// gapFactor is how many times the usual distance of points counts as a gap. A
// single missed poll does not break the line (our choice).
const gapFactor = 4

func (d *decimator) add(p TrendPoint) {
	at := int64(p.At.Sub(d.from) / d.step)
	if d.open && at != d.at {
		d.flush()
		d.gap(at)
	}
	d.at, d.open = at, true
	d.err.add(float64(p.Error))
	d.u.add(float64(p.U))
	for l, r := range p.Contact {
		d.contact[l].add(float64(r))
	}
}

// gap puts an empty step before step at when the points stopped for a while.
func (d *decimator) gap(at int64) {
	away := at - d.at
	if d.usual > 0 && away > gapFactor*d.usual {
		d.at++
		d.flush()
		return
	}
	d.usual = away
}

// flush writes the step being gathered.
func (d *decimator) flush() {
	if !d.open {
		return
	}
	d.times = append(d.times, d.from.Add(time.Duration(d.at)*d.step).Unix())
	d.errs.put(d.err)
	d.us.put(d.u)
	for l := range d.contact {
		d.contactsKnown[l] = d.contactsKnown[l] || d.contact[l].n > 0
		d.contacts[l].put(d.contact[l])
	}
	d.err, d.u, d.contact = cell{}, cell{}, [measure.LeadCount]cell{}
}

// stepsFor returns the width of a step so that width of them cover the span,
// in whole seconds, at least one.
func stepsFor(from, to time.Time, width int) time.Duration {
	step := to.Sub(from) / time.Duration(width)
	return max(step.Truncate(time.Second)+time.Second*boolTo(step%time.Second != 0), time.Second)
}

func boolTo(b bool) time.Duration {
	if b {
		return 1
	}
	return 0
}

// trendAnswer is the answer of /api/loops/{tag}/trend.
type trendAnswer struct {
	Loop          string          `json:"loop"`
	From          string          `json:"from"`
	To            string          `json:"to"`
	StepS         int64           `json:"step_s"`
	RecordedUntil *string         `json:"recorded_until"`
	TimeS         []int64         `json:"time_s"`
	ErrorDegC     band            `json:"error_degC"`
	UDegC         []number        `json:"u_degC"`
	ContactOhm    map[string]band `json:"contact_ohm"`
}

func (d *decimator) answer(tag string, from, to, recorded time.Time) trendAnswer {
	d.flush()
	a := trendAnswer{
		Loop: tag, From: stamp(from), To: stamp(to), StepS: int64(d.step / time.Second), RecordedUntil: timeText(recorded),
		TimeS: slices.Clip(d.times), ErrorDegC: d.errs, UDegC: d.us.Mean, ContactOhm: map[string]band{},
	}
	if a.TimeS == nil {
		a.TimeS, a.UDegC = []int64{}, []number{}
		a.ErrorDegC = band{[]number{}, []number{}, []number{}}
	}
	for l, known := range d.contactsKnown {
		if known {
			a.ContactOhm[measure.Lead(l).String()] = d.contacts[l]
		}
	}
	return a
}
