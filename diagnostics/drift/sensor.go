package drift

import (
	"math"
	"slices"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// Leads that the transmitter does not report show in the sensor value alone. A
// contact that opens moves it for milliseconds to seconds, so it leaves a calm
// value and is back within two polls; an element in its well follows the process
// in tens of seconds to minutes (common practice) and holds what it has reached.
// Polled slowly it can do the same when the process is flushed, so what counts
// is what comes on top of the loop's own baseline. No lead can be named.

// ofSensor is the place in the state where the sensor value is followed: no lead
// needs it where not all are reported. There
//
//	U       the newest polls, newest last, as long as none was missing
//	UN      how many
//	Sigma   of second differences, Ω: what is left of noise when the process moves
//	Scale   smallest change between two polls, Ω: the resolution, or less
//	Flagged it comes from the reading: no resistance was sent
//	Above   bits: the running block has an excursion up, down
//	Swings  one bit a poll, newest lowest: a lead that is reported was away
//	Spike   Maybe up, Down down, Sure beyond the limit, in polls
const ofSensor = channels - 1

const (
	// sensorGate is how far an excursion must be from the calm value, in standard
	// deviations of a second difference. Normal noise passes it once in ten days at
	// 10 s, to either side, and once in a year at ten minutes; the baseline tells.
	sensorGate = 4
	// sensorCalm is how much the two polls before and the two after may move, and
	// the calm value between them, as a share of the excursion: a third is what
	// noise does to it; a ramp does more.
	sensorCalm = 0.33
	// sensorSteps is the least excursion in steps of the resolution: rounding
	// makes one of one step, and noise beside it one of two.
	sensorSteps = 3.5
	// sensorNeed is the count of excursions of about ten days from which they are
	// called, where the baseline has none, and sensorFew that of a loop that had
	// none in sensorLong blocks: forty days without one, then three in ten.
	sensorNeed = 5
	sensorFew  = 3
	sensorLong = 160
	// sensorSlow is the interval in s above which nothing is said: what is back
	// after half an hour may be the process.
	sensorSlow = 900
	// sensorStays is the share of sensorNeed down to which a finding stands.
	sensorStays = 0.6
	// sensorWeight is that of a second difference in Sigma.
	sensorWeight = 1.0 / 200
)

// hide finds to which sides a contact in a lead that is not reported moves the
// sensor value.
func (m *model) hide() {
	if m.raw == 0 { // the device sends the element alone
		return
	}
	var seen finding.LeadSet
	for _, c := range m.ch[:m.n] {
		if seen |= c.named; c.sum {
			seen |= c.side
		}
	}
	for l, c := range wiring.Coefficients(m.spec.Method) {
		if !seen.Has(measure.Lead(l)) {
			m.up, m.down = m.up || c > 0, m.down || c < 0
		}
	}
}

// alone follows the sensor value from poll to poll; calm tells that every lead
// that is reported is known and near its calm value.
func (e *Engine) alone(l *look, calm bool) {
	if !e.m.up && !e.m.down {
		return
	}
	c := &e.s.Ch[ofSensor]
	if math.IsNaN(l.sensor) || c.Flagged != l.read {
		c.UN, c.Flagged = 0, l.read
		return
	}
	push(&c.U, l.sensor)
	c.UN = min(c.UN+1, recent)
	c.Swings <<= 1
	if !calm {
		c.Swings |= 1
	}
	x := c.U[recent-6:]
	if c.UN < 3 || e.s.Step > sensorSlow {
		return
	}
	c.roughen(x[3:])
	if e.s.Copper.Blocks < spikeBlocks {
		return
	}
	if c.UN >= 5 && c.Swings&0b11111 == 0 {
		e.flick(x[1:3], x[3:4], x[4:])
	}
	if c.UN >= 6 && c.Swings&0b111111 == 0 {
		e.flick(x[:2], x[2:4], x[4:])
	}
}

// roughen adds the newest three polls to the noise of the sensor value.
func (c *chState) roughen(x []float32) {
	if d := float32(math.Abs(float64(x[2] - x[1]))); d > 0 && (c.Scale == 0 || d < c.Scale) {
		c.Scale = d
	}
	d := math.Abs(float64(x[1]) - (float64(x[0])+float64(x[2]))/2)
	if c.Sigma == 0 {
		c.Sigma = d
	}
	d = min(d, winsor*c.Sigma+0.001)
	c.Sigma = math.Sqrt(c.Sigma*c.Sigma + (d*d-c.Sigma*c.Sigma)*sensorWeight)
}

// flick books one or two polls that left a calm value and came back to it.
func (e *Engine) flick(before, out, after []float32) {
	c := &e.s.Ch[ofSensor]
	from, to := float64(before[0]+before[1])/2, float64(after[0]+after[1])/2
	d, least := 0.0, math.Inf(1)
	for _, v := range out {
		x := float64(v) - (from+to)/2
		if d*x < 0 {
			return
		}
		if math.Abs(x) > math.Abs(d) {
			d = x
		}
		least = min(least, math.Abs(x))
	}
	moved := max(math.Abs(from-to), math.Abs(float64(before[1]-before[0])), math.Abs(float64(after[1]-after[0])))
	up := d > 0
	reach := e.sensorReach(up)
	if least < max(sensorGate*c.Sigma, sensorSteps*float64(c.Scale), spikeShare*reach) || moved > sensorCalm*least {
		return
	}
	n := float32(len(out))
	p := &c.Spike
	p.Peak = float32(math.Abs(d))
	if p.Maybe+p.Down < 1 {
		p.First = e.s.Last
	}
	p.Slow, p.Fast = p.Slow+n, p.Fast+n
	p.size(1, p.Maybe+p.Down+1)
	if math.Abs(d) > reach {
		p.Sure += n
	}
	switch { // one of six hours counts: whoever checks a loop with a calibrator makes ten
	case up && c.Above&1 == 0:
		p.Maybe, c.Above = p.Maybe+1, c.Above|1
	case !up && c.Above&2 == 0:
		p.Down, c.Above = p.Down+1, c.Above|2
	}
}

// sensorReach is the change of the sensor value that is the limit of the loop, Ω;
// +Inf without one.
func (e *Engine) sensorReach(up bool) float64 {
	lim := float64(e.m.spec.LimitHigh)
	if !up {
		lim = -float64(e.m.spec.LimitLow)
	}
	if math.IsNaN(lim) {
		return math.Inf(1)
	}
	return lim * e.m.slope(float64(e.s.Copper.Temp[recent-1]))
}

// flicks returns how many excursions speak for a contact, how many are asked
// for, and to which side they go. What goes to the other side as well is noise.
func (e *Engine) flicks() (n, need float32, up bool) {
	p := &e.s.Ch[ofSensor].Spike
	with, against := p.Maybe, p.Down
	if up = e.m.up && (!e.m.down || p.Maybe >= p.Down); !up {
		with, against = p.Down, p.Maybe
	}
	need = sensorNeed
	if p.Usual == 0 && e.s.Copper.Blocks > sensorLong {
		need = sensorFew
	}
	return with, need + 2*against + 2*p.Usual, up
}

// flickering tells whether the sensor value makes more excursions than it used
// to.
func (e *Engine) flickering() bool {
	if !e.m.up && !e.m.down {
		return false
	}
	n, need, _ := e.flicks()
	if r := &e.s.Found[aboutContact]; r.kind() == finding.LeadIntermittent && r.Channels&(1<<ofSensor) != 0 {
		need *= sensorStays
	}
	return n >= need
}

// unseen states what the sensor value says about leads that are not reported.
func (e *Engine) unseen(p *picture) (claim, bool) {
	if !e.flickering() {
		return claim{}, false
	}
	s := &e.s.Ch[ofSensor].Spike
	n, need, up := e.flicks()
	c := claim{kind: finding.LeadIntermittent, severity: finding.Maintenance, channels: 1 << ofSensor, since: s.First, contact: float64(s.Size), sure: 0.7}
	side := "up"
	if !up {
		side = "down"
	}
	rest := "no lead is reported, so none is named"
	if e.m.n > 0 {
		rest = "no lead that is reported moved with it, so none is named"
	}
	c.evidence = say("%.1f short excursions of the sensor value %s in about ten days (older ones fade), %s on average, each from a calm value and back within two polls, as a contact does and an element in its well does not; called from %.1f, by its baseline; %s",
		n, side, ohms(float64(s.Size)), need, rest)
	return c, true
}

func isNumber(x float32) bool { return x == x }

// sensorBlock ends a block of six hours. Without a sensor value nothing fades:
// what is not seen has not healed.
func (e *Engine) sensorBlock() {
	c, b := &e.s.Ch[ofSensor], &e.s.Block
	if !e.m.up && !e.m.down || !slices.ContainsFunc(b.T[:b.N], isNumber) {
		return
	}
	c.Above = 0
	p := &c.Spike
	p.fade()
	if e.s.Copper.Blocks <= learnBlocks {
		p.Usual = max(p.Usual, p.Maybe, p.Down)
	}
}
