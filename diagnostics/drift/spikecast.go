package drift

import "math"

// A contact that comes and goes leaves the limit when excursions beyond it fill
// 5 % of a day. The share of polls in an excursion grows as contacts wear, by a
// rate that two counts tell: one that fades in days, one in a week and a half.

const (
	spikeFast = 2.5 // days, time constant of the fast count (judge.go)
	spikeSlow = 10  // days, of the slow one: spikeFade

	// burst is how many polls of an excursion come together: counts scatter by
	// the root of that more than single events would.
	burst = 2
	// rateFolds is by how many e-folds the share has grown since excursions were
	// first noticed, about: they are noticed at a handful and end at several
	// times that. It is uncertain by a factor of e^rateSd either way.
	rateFolds, rateSd = 2, 0.6

	overLeast = 0.002 // with less than this beyond the limit it is noise: the daily shares tell more
	overPrior = 3     // excursions that the size of the mean one is worth, in telling how many pass the limit

	// A contact whose excursions go far beyond the limit may open at once. When
	// is not in the data: what has been seen for some days lasts half as long again,
	// or a sixth of that time, or two and a half times: of a life of unknown length
	// any part may be over, and contacts wear faster and faster.
	openlyOhm                       = 0.5 // Ω, where no reading is moved: more than a worn contact has
	openTimes                       = 4   // times the contact that moves the reading by its limit
	openEarly, openMiddle, openLate = 0.15, 0.6, 2.5
)

// spikeRates are the rates of growth tried, e-folds a day: from a month and a
// half to a day.
var spikeRates = [...]float64{0.02, 0.035, 0.05, 0.07, 0.1, 0.14, 0.2, 0.28, 0.4, 0.6, 0.9}

// foreseeSpikes makes the forecast of a lead that comes and goes.
func (e *Engine) foreseeSpikes() (outlook, bool) {
	k := e.worstSpikes()
	if k < 0 {
		return outlook{}, false
	}
	p := &e.s.Ch[k].Spike
	o := outlook{State: outlookDated, At: e.s.Last, Side: 1}
	reach := e.reach(k, float64(e.s.Copper.Temp[recent-1]))
	if e.m.ch[k].coef < 0 {
		o.Side = -1
	}
	if k == ofSensor && e.flickering() {
		_, _, up := e.flicks()
		if reach = e.sensorReach(up); !up {
			o.Side = -1
		}
	}
	if math.IsInf(reach, 1) {
		reach = openlyOhm // an open lead stops the loop, whatever its method
	}
	age := max(float64(e.s.Last-p.First)/dayS, 1)
	var buf [len(spikeRates)*len(scatter) + 3]candidate
	goal := e.spikeGoal(p, reach, o.Side)
	open := float64(p.Size) / (openTimes * max(reach, openlyOhm/2))
	if e.onceOnly(k) {
		o.P10, o.P50, o.P90 = afterFirst(goal, open, buf[:0])
		return o, true
	}
	c, total := e.spikeGrowth(p, age, goal, buf[:0])
	w := total * open * open * open
	c = append(c, candidate{openEarly * age, 0.1 * w}, candidate{openMiddle * age, 0.12 * w}, candidate{openLate * age, 0.1 * w})
	p10, p50, p90 := quantiles(c)
	o.P10, o.P50, o.P90 = float32(min(p10, p50/1.5)), float32(p50), float32(max(p90, p50*1.5))
	return o, true
}

// worstSpikes returns the channel with most excursions, ofSensor where only the
// sensor value makes them, −1 without any.
func (e *Engine) worstSpikes() int {
	k := -1
	for i := range e.m.n {
		p := &e.s.Ch[i].Spike
		if p.Size > 0 && p.Slow > 0.2 && (k < 0 || p.Slow > e.s.Ch[k].Spike.Slow) {
			k = i
		}
	}
	if e.flickering() && (k < 0 || !e.spiking(k)) {
		return ofSensor
	}
	return k
}

// spikeGoal returns the polls a day in an excursion at which 5 % of some day are
// beyond the limit: chance fills a day before the mean does.
func (e *Engine) spikeGoal(p *spikeState, reach float64, side int8) float64 {
	perDay := dayS / float64(max(e.s.Step, 1))
	over := min(max(0.5*float64(p.Size)/reach, 0.1), 0.6) // of the excursions, beyond the limit, by their mean size
	switch {
	case p == &e.s.Ch[ofSensor].Spike && e.flickering(): // each was held against the limit
		over = min(max((float64(p.Sure)+overPrior*over)/(float64(p.Slow)+overPrior), 0.05), 1)
	case e.s.Step > slotS/2: // a slot is a poll: those beyond were counted
		n := float64(e.s.Error.Over[(1-side)/2]) * perDay * spikeSlow
		over = min(max((n+overPrior*over)/(float64(p.Slow)+overPrior), overLeast), 1)
	}
	const lucky = 1.3 // standard deviations that one day in ten reaches
	q := lucky * math.Sqrt(burst)
	root := (math.Sqrt(q*q+4*topShare*perDay) - q) / 2 // of x, from x + q·√x = 5 % of the polls
	return root * root / over
}

// afterFirst returns when the goal is reached, days from the first excursion. A rate
// that grows as e^(r·t) has given rise to one excursion when it is r itself, and that
// is all that a first one tells: of r nothing is known. What opened so far that it is
// open times as much as a worn contact does may stay open any day.
func afterFirst(goal, open float64, c []candidate) (p10, p50, p90 float32) {
	for _, r := range spikeRates {
		for _, z := range scatter {
			c = append(c, candidate{max(math.Log(goal/r)-firstSd*z, 0.3*r) / r, 1})
		}
	}
	w := anyDay * float64(len(c)) * min(open, 1)
	c = append(c, candidate{soonest, w / 3}, candidate{1, w / 3}, candidate{3, w / 3})
	a, b, d := quantiles(c)
	return float32(a), float32(b), float32(d)
}

// firstSd is the scatter of the logarithm of the rate at which the first excursion
// comes: of an exponential variable, π/√6. anyDay is the weight of a contact that
// opens for good within days of its first excursion against all others.
const firstSd, anyDay = 1.28, 0.3

// spikeGrowth appends the moments at which the share of excursions reaches the
// goal, for every rate of growth with the weight that the two counts give it.
func (e *Engine) spikeGrowth(p *spikeState, age, goal float64, c []candidate) ([]candidate, float64) {
	fast, slow, total := max(float64(p.Fast), 0.5), max(float64(p.Slow), 1), 0.0
	filled := func(rate, fade float64) float64 { // what a count holds of one poll a day now
		r := rate + 1/fade
		return (1 - math.Exp(-r*age)) / r
	}
	sd := math.Sqrt(0.75 * burst / (fast + slow))
	v := 0.5*burst*(1/fast+1/slow) + 0.02 // of the logarithm of the ratio; the last for days of weather
	for _, r := range spikeRates {
		f, s := filled(r, spikeFast), filled(r, spikeSlow)
		x, prior := math.Log(fast/slow*s/f), math.Log(r*age/rateFolds)/rateSd
		w := math.Exp(-x*x/2/v - prior*prior/2)
		now := (fast*fast/f + slow*slow/s) / (fast + slow)
		for _, z := range scatter {
			t := (math.Log(goal/now) - z*sd) / r
			c = append(c, candidate{max(t, 0.3-0.15*z), w}) // due: within the day
		}
		total += w * float64(len(scatter))
	}
	return c, total
}
