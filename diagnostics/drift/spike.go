package drift

import "math"

// spikeState counts excursions of one channel: short rises that return. The
// counts fade with spikeFade.
type spikeState struct {
	Sure  float32 // the sensor value moved with the lead, as physics wants
	Maybe float32 // no way to check
	Down  float32 // below what copper allows: noise or a bad value
	Run   uint16  // samples of the excursion now running
	Split bool    // meanwhile another lead went the other way: registers, no contact
	Plain bool    // one was alone and speaks for itself (plain.go)
	Peak  float32 // its largest size, Ω
	Want  float32 // Σ of what the sensor value should have moved by, Ω
	Out   float32 // Σ of what it did move by, Ω
	Size  float32 // mean size of what was counted, Ω
	Slow  float32 // samples in excursions, fading with spikeFade
	Start int64
	First int64   // of the counts, s
	Fast  float32 // count fading four times as fast
	Usual float32 // largest count in the baseline
	Odds  float32 // logarithm of the odds of a contact against bad values (odds.go)
	Spell int32   // slot of the newest excursion that odds were drawn from
}

// spikeFade is the time constant of the counts, s: long enough to see one
// excursion in two days, short enough to forget a storm.
const spikeFade = 10 * dayS

const (
	spikeLongest = 120 // s, or two intervals: contacts open for milliseconds to seconds, what lasts is a level or a hot line
	spikeClear   = 1.5 // gates: the edge of a slow rise is no excursion
	spikeBlocks  = 8   // before, noise and resolution are not known
	calmWeight   = 0.3 // of a value in the calm one: copper leaves a trace of itself in it for an hour
)

// spikeLearn is how long the usual count of excursions is learnt, in blocks: ten
// days, for a fault may begin in the baseline.
const spikeLearn = 40

// A channel may be away from its calm value by its gate: some standard deviations
// of single values, one and a half steps of the resolution, or a touch.
const (
	gateSigma = 6.5 // six deviations of a difference are 1 in 10⁹ for normal noise
	// gateQuiet is the least noise of a channel, of that of its baseline: a lead that
	// alone was the copper for a block has none against itself.
	gateQuiet = 0.7
	gateOhm   = 0.004 // what sound terminals make when touched (a block has a few mΩ)
)

// excursions compares each value with the calm one before it and tells whether
// none is away from it.
func (e *Engine) excursions(l *look, fr *frame, f float64) (calm bool) {
	st := &e.s
	ups, downs := 0, 0
	calm = true
	st.Sensor.Polls++
	st.Sensor.wrong(float32(l.bad))
	var p part
	e.part(fr, &l.v, f, l.t, &p)
	var x [channels]float64
	g := &fr.gate
	for k := range e.m.n {
		c := &st.Ch[k]
		x[k] = p.bare[k] - (p.usual[k] + c.Track)
		if math.IsNaN(x[k]) {
			continue
		}
		c.difference(x[k])
		if !c.PrevOK {
			c.Calmly, c.PrevOK = float32(x[k]), true
		}
		if e.referenceMoved(l.v[k], x[k]-float64(c.Calmly), g[k]) {
			c.Calmly += float32(calmWeight * (x[k] - float64(c.Calmly)))
			return false
		}
		switch d := x[k] - float64(c.Calmly); {
		case d > g[k]:
			ups++
		case d < -g[k]:
			downs++
		}
	}
	if downs > 0 {
		st.Sensor.Storm = st.Last
	}
	if downs > 0 && ups > 0 { // a shifted set of registers, or noise
		st.Sensor.wrong(1)
		if e.within(&x) {
			st.Sensor.Noisy++
		}
		calm = false
	}
	// Those that leave go first: whether what returns is counted depends on who
	// else is away, and must not depend on the order of the leads.
	for k := range e.m.n {
		if math.Abs(x[k]-float64(st.Ch[k].Calmly)) > g[k] {
			e.leave(k, x[k], l.sensor, downs > 0 && ups > 0)
			calm = false
		}
	}
	for k := range e.m.n {
		if c := &st.Ch[k]; math.Abs(x[k]-float64(c.Calmly)) <= g[k] {
			e.comeBack(k, x[k], g[k], l.sensor)
		}
	}
	if calm {
		st.Sensor.take(l.sensor)
		st.Copper.Sum = l.v[0]
	}
	return calm
}

// referenceMoved tells whether a single sum is away from its calm value by d because its
// neighbours moved, or the steps in which they are read: an excursion of its own shows
// in its value v by more than half.
func (e *Engine) referenceMoved(v, d, gate float64) bool {
	return e.m.n == 1 && math.Abs(d) > gate && math.Abs(v-e.s.Copper.Sum) < math.Abs(d)/2
}

// crossed tells whether of two leads one rose and the other fell since the last
// sample, when the copper factor was f, or both moved by more than copper does. The
// lower of two is taken for copper, so noise on both shows as rises alone; but no
// contact makes the other lead move.
func (e *Engine) crossed(l *look, fr *frame, f float64) bool {
	if e.m.n != 2 {
		return false
	}
	var p part
	e.part(fr, &l.v, f, l.t, &p)
	var d [2]float64
	for k := range d {
		c := &e.s.Ch[k]
		d[k] = p.bare[k] - (p.usual[k] + c.Track) - float64(c.Calmly)
	}
	a, b := 0, 1
	if d[b] > d[a] {
		a, b = b, a
	}
	if d[a] > fr.gate[a] && d[b] < -max(fr.gate[b], crossedShare*d[a]) {
		return true
	}
	both := min(math.Abs(d[0])/e.s.Ch[0].Base, math.Abs(d[1])/e.s.Ch[1].Base)
	return both > togetherShare && math.Abs(d[0]) > fr.gate[0] && math.Abs(d[1]) > fr.gate[1]
}

// crossedShare is how far the other lead must fall, of the rise: copper that cools
// between two polls falls by less than what is worth counting. togetherShare is how far
// both must move: 5 K, more than a cable does in ten minutes without steam.
const crossedShare, togetherShare = 0.5, 0.02

// within tells whether no lead is away from its calm value by more than what noise
// can do: a register of something else is further away than half of the lead.
func (e *Engine) within(x *[channels]float64) bool {
	for k := range e.m.n {
		if c := &e.s.Ch[k]; math.Abs(x[k]-float64(c.Calmly)) > c.Base/2 {
			return false
		}
	}
	return true
}

// leave follows a channel away from its calm value.
func (e *Engine) leave(k int, x, sensor float64, shifted bool) {
	c := &e.s.Ch[k]
	p := &c.Spike
	d := x - float64(c.Calmly)
	if p.Run == 0 || (d > 0) != (p.Peak > 0) {
		p.Start, p.Peak, p.Run, p.Split, p.Want, p.Out = e.s.Last, 0, 0, false, 0, 0
		e.disturb()
	}
	p.Run++
	if math.Abs(d) > math.Abs(float64(p.Peak)) {
		p.Peak = float32(d)
	}
	p.Split = p.Split || shifted
	p.Want += float32(e.m.ch[k].coef * e.m.raw * d)
	p.Out += float32(sensor - e.s.Sensor.Value)
	if e.s.Last-p.Start > max(spikeLongest, 2*int64(e.s.Step)+30) { // it stays: a new level
		c.Calmly, p.Run = float32(x), 0
	}
}

// comeBack counts the excursion from which a channel has returned, and follows
// its calm value.
func (e *Engine) comeBack(k int, x, g, sensor float64) {
	c := &e.s.Ch[k]
	if c.Spike.Run > 0 {
		e.count(k, g, e.proof(k, sensor))
		c.Spike.Run = 0
	}
	c.Calmly += float32(calmWeight * (x - float64(c.Calmly)))
}

// stormy tells whether in the last hour something else moved as well: noise goes
// both ways and takes every lead.
func (e *Engine) stormy(k int) bool {
	if e.s.Last-e.s.Sensor.Storm < hourS {
		return true
	}
	for j := range e.m.n {
		if j != k && e.s.Last-e.s.Ch[j].Spike.Start < hourS {
			return true
		}
	}
	return false
}

// count books an excursion that has returned. What the sensor value says of it
// is the logarithm of a likelihood ratio.
func (e *Engine) count(k int, g, proof float64) {
	p := &e.s.Ch[k].Spike
	n := float32(p.Run)
	switch {
	case e.s.Copper.Blocks < spikeBlocks, e.warming(k):
	case p.Peak > 0 && proof < spikeProof && e.stormy(k):
		p.Down += n // noise goes both ways
		e.s.Sensor.Wrong += n
	case p.Peak < 0:
		p.Down += n
		e.s.Sensor.Wrong += n
	case proof < -spikeProof:
		e.s.Sensor.wrong(n)
		if e.stormy(k) {
			e.s.Sensor.Noisy += n
		}
	case float64(p.Peak) < spikeClear*g:
	case proof > spikeProof:
		p.Sure += n
		p.spiked(n, e.s.Last)
		e.bet(k, proof, g)
	default:
		e.bet(k, proof, g) // against the bad values before it: itself it is what is judged
		p.Maybe += n
		p.spiked(n, e.s.Last)
	}
}

// spiked books n samples of an excursion that ended at a time, after they were
// counted.
func (p *spikeState) spiked(n float32, at int64) {
	if p.First == 0 || p.Sure+p.Maybe < 2*n { // the first since the counts have faded
		p.First = at
	}
	p.Slow += n
	p.Fast += n
	p.size(n, p.Sure+p.Maybe)
}

// size takes an excursion of n samples into the mean size. As the counts do, the
// mean forgets: a bad register of last month says nothing about what comes now.
func (p *spikeState) size(n, all float32) {
	w := max(sizeWeight, n/max(n, all))
	if all < 2*n || p.Size == 0 {
		w = 1
	}
	p.Size += w * (p.Peak - p.Size)
}

// sizeWeight is the least weight of an excursion in the mean size: of many, the
// last five tell what the contact has become.
const sizeWeight = 0.2

// difference gathers the squared difference to the last residual, winsorised so
// that a spike does not pass for noise. Half its mean is the variance of single
// values, whatever slow movement lies under them.
func (c *chState) difference(x float64) {
	if c.PrevOK {
		d := math.Abs(x - float64(c.Prev))
		if c.Sigma > 0 {
			d = min(d, winsor*math.Sqrt2*c.Sigma)
		}
		c.Diff += float32(d * d)
		c.DiffN++
	}
	c.Prev = float32(x)
}

// sensorState follows the sensor value from sample to sample.
type sensorState struct {
	Value float64 // newest, Ω
	Sigma float64 // standard deviation of its steps, Ω, winsorised
	Known bool
	Storm int64   // when a lead value was last below what its copper allows, s
	Bad   float32 // bad values of the leads counted, fading
	Noisy float32 // of Bad, what looks like noise of every lead
	Wrong float32 // the same as Bad, fading with badFade
	Polls float32 // samples, fading with badFade
}

// wrong counts bad values.
func (s *sensorState) wrong(n float32) {
	s.Bad += n
	s.Wrong += n
}

func (s *sensorState) take(r float64) {
	if math.IsNaN(r) {
		return
	}
	if s.Known {
		d := math.Abs(r - s.Value)
		if s.Sigma == 0 {
			s.Sigma = d
		} else {
			d = min(d, 3*s.Sigma+0.001)
			s.Sigma = math.Sqrt(s.Sigma*s.Sigma + (d*d-s.Sigma*s.Sigma)/200)
		}
	}
	s.Value, s.Known = r, true
}
