package drift

import (
	"fmt"
	"math"
	"math/bits"

	"ohmdrift/diagnostics/finding"
)

// Levels at which a contact is called bad. A sound loop mostly stays within 1 mΩ over
// months once copper and what belongs to the lead are taken off, and for days at up to
// 2.6; the constants and the time that a level must last keep that away. floorOhm,
// floorLimit and floorScale are as low as simulated sound leads allow: with a tenth less
// flickering values are taken for contacts.
const (
	floorOhm     = 0.0022 // what a sound terminal may change by: IEC 60947-7-1 allows 1.83 mΩ for 1.5 mm², and a fifth as much again with age
	floorShare   = 0.0015 // of the lead: sun and gradients between cores move them by some 0.1 % over a year
	floorLimit   = 0.009  // of the contact that would move the reading by its limit: below, nobody acts
	runOhm       = 0.011  // of a lead that the method takes out of the reading: four terminals (head, box, marshalling, transmitter) of 1.83 mΩ and half as much again
	floorVolt    = 0.03   // but no more than this share of the limit, which a voltage in the lead moves the reading by
	floorGrid    = 1.0    // of the resolution: rounding hides half a step, on two leads against each other a whole one
	stillGrid    = 1.5    // where nothing carries the values over the steps: half a step more of what was rounded in the baseline
	floorScale   = 2.2    // mean absolute residuals of a block: two days of them average to a third
	floorCalm    = 3      // of the largest swing in the baseline: a hot line beside one core is no contact
	hotCalm      = 4.5    // of it where the lead stands out by it: a line that is hot for one hour in twenty moves it by that many standard deviations, for days when it stays on
	hotTimes     = 4      // times the largest swing of the calmest other lead, from which it stands out
	hotLeast     = 0.002  // and more than sound leads swing by, Ω
	floorPair    = 0.005  // where two values stand against each other
	calmPair     = 5      // of the largest swing of the baseline there: the swing of both is in it
	pairSettling = 120    // blocks after work in which, of two, the fall of one can pass for the rise of the other
	floorAlone   = 0.03   // of a single sum, whose temperature is known from its neighbours or its transmitter only: 8 K that they do not share
	aloneSlope   = 1.5    // of the copper that its neighbours moved beyond the temperatures of the baseline: in three weeks nobody sees how a cable follows the season, and one in the sun moves two or three times as much as others
	aloneScale   = 9      // of the mean absolute residuals there: nothing takes its weather off
	aloneOhm     = 0.02   // where one value stands against none: two leads with terminals that settle
	unlearnt     = 2.0    // factor, less 1, on all of it while the baseline is young
	unseenTimes  = 2.0    // standard deviations of what the season of one core may have done unseen
	settling     = 48     // blocks after work in which terminals settle: contacts fall by tens of mΩ with a time constant of days
)

// levels completes the picture with levels and thresholds.
func (e *Engine) levels(p *picture) {
	e.heights(p)
	p.newest = p.u
	for k := range e.m.n {
		p.quick[k], p.mean[k] = e.s.Ch[k].level(3), e.s.Ch[k].mean(8)
	}
	e.shift(&p.quick, p)
	e.shift(&p.newest, p)
	e.shift(&p.mean, p)
}

// heights completes it with the levels of two days, their thresholds, and which
// lead is taken for copper by them.
func (e *Engine) heights(p *picture) {
	p.grow = 1 + unlearnt*min(1, math.Exp(-(float64(p.blocks)-settling)/24))
	if k := e.s.Found[aboutWork].kind(); k == finding.LeadsSwapped || k == finding.LeadRestored { // what was just worked on settles
		p.grow = max(p.grow, 2)
	}
	for k := range e.m.n {
		p.level[k] = e.s.Ch[k].level(8)
		p.reach[k] = e.reach(k, p.t)
		l, _ := e.threshold(k, p)
		p.limit[k] = l * p.grow
	}
	p.raw = p.level
	e.shift(&p.level, p)
	p.lowest = e.twoRose(p)
	if p.lowest {
		p.level = p.raw
		e.shift(&p.level, p)
	}
}

// threshold returns the level at which a contact is called bad on a baseline
// that is learnt, and the rule that gives it.
func (e *Engine) threshold(k int, p *picture) (x float64, rule string) {
	ch := &e.s.Ch[k]
	least := func(v float64, why string) {
		if v > x {
			x, rule = v, why
		}
	}
	least(floorOhm, "what a sound terminal may change by")
	least(floorShare*ch.Base, "0.15 % of the lead")
	if least(floorGrid*float64(e.s.Grid.Step), "resolution of the device"); !e.carried(k) {
		least(stillGrid*float64(e.s.Grid.Step), "resolution of the device, which holds the lead still")
	}
	least(floorScale*float64(ch.Scale), "2.2 × block-to-block scatter of the baseline")
	least(floorCalm*float64(ch.Calm), "3 × largest swing of the baseline")
	if e.heatedAlone(k) {
		least(hotCalm*float64(ch.Calm), "4.5 × largest swing of the baseline, of which another lead had less than a quarter")
	}
	switch e.m.n {
	case 2: // the difference of two, each with its own slow drift
		least(floorPair, "what two sound leads may part by")
		least(calmPair*float64(ch.Calm), "5 × largest swing of the baseline")
		if p.blocks < pairSettling {
			x *= 2
		}
	case 1:
		least(aloneOhm, "what the terminals of two leads may change by")
		least((floorAlone+aloneSlope*ch.Fit.away(p.f))*ch.Base, "3 % of a sum without a second one, and 1.5 times what its neighbours or its transmitter moved beyond the baseline")
		least(aloneScale*float64(ch.Scale), "9 × block-to-block scatter of the baseline")
	}
	if !math.IsInf(p.reach[k], 1) {
		least(floorLimit*p.reach[k], ruleLimit)
	} else if e.m.ch[k].coef == 0 && e.tightLimit() > 0 {
		least(min(runOhm, floorVolt*e.tightLimit()*e.m.slope(p.t)), "what sound terminals of the whole run may change by; the lead does not enter the reading")
	}
	if s := math.Hypot(seasonDoubt*e.seasonOff(), unseenTimes*e.seasonUnseen(k)); s > 0 {
		if s > x {
			rule = "what the season was taken to do"
		}
		x = math.Hypot(x, s)
	}
	return x, rule
}

// heatedAlone tells whether a channel swung in the baseline by far more than the
// calmest lead: it lies beside something hot. (Of two the swing is in both.)
func (e *Engine) heatedAlone(k int) bool {
	x := float64(e.s.Ch[k].Calm)
	for j := range e.m.n {
		if j != k && hotTimes*float64(e.s.Ch[j].Calm) < x {
			return e.m.n > 2 && x > hotLeast
		}
	}
	return false
}

// quickTimes a threshold must the last three blocks be beyond to count as two days
// beyond it do: of the slow drift of a sound lead three blocks show no more than
// eight, only the scatter is larger. The level of two days must have come by quickHalf
// of the threshold to the same side: a day of heat leaves their median where it was.
const quickTimes, quickHalf = 1.3, 0.5

const ruleLimit = "0.9 % of the contact that moves the reading by its limit"

// growTold is the factor on a threshold from which it is worth a word.
const growTold = 1.1

// rule writes where the threshold of a channel comes from.
func (e *Engine) rule(k int, p *picture) string {
	_, r := e.threshold(k, p)
	if e.m.n == 2 && p.blocks < pairSettling && r != ruleLimit {
		r += ", × 2 in the first month"
	}
	if p.grow > growTold {
		r += fmt.Sprintf(", × %.2f while the baseline is young", p.grow)
	}
	return r
}

// twoRose tells whether of three leads two have risen: one stands above, another
// below the middle one, neither jumped, and the lower one did not heal. Contacts
// add, so the lowest is the sound one.
func (e *Engine) twoRose(p *picture) bool {
	if e.m.n != 3 {
		return false
	}
	above, below := false, false
	for k := range e.m.n {
		l, x := p.level[k], p.limit[k]
		if e.s.TwoRose { // then the frame holds, and its own jumps mean nothing
			above, below = above || l > x/2, below || l < -x/2
			continue
		}
		above = above || l > x
		below = below || l < -x && !e.s.Ch[k].abrupt(p.raw[k]) && !e.healed(k, p)
	}
	if _, _, even := e.balanced(p); even && !e.s.TwoRose {
		return false
	}
	if r := &e.s.Found[aboutContact]; e.s.TwoRose && r.Kind != 0 && bits.OnesCount8(r.Channels) > 1 {
		above = true // two that were told apart may meet: the third did not fall for that
	}
	return above && below
}

// mean returns the mean of the last n residuals.
func (c *chState) mean(n int) float64 {
	n = min(int(c.UN), n)
	sum := 0.0
	for _, u := range c.U[recent-n:] {
		sum += float64(u) / float64(n)
	}
	return sum
}

// shift moves the common part, which leads alone cannot tell from copper, to
// where contacts want it: the second lowest of three or four stands at zero,
// bridged leads left out. Of
// two that part in opposite directions the lower one stands at zero; where one
// stays and the other fell, it fell.
func (e *Engine) shift(x *[channels]float64, p *picture) {
	if e.m.n < 2 {
		return
	}
	var w [channels]float64
	n, gone := 0, 0
	for k := range e.m.n {
		if math.IsNaN(x[k]) {
			continue
		}
		if e.m.n > 2 && x[k] < -lost(e.s.Ch[k].Base) {
			gone++
		}
		v := x[k] / e.s.Ch[k].Base
		i := n
		for ; i > 0 && w[i-1] > v; i-- {
			w[i] = w[i-1]
		}
		w[i] = v
		n++
	}
	if n < 2 {
		return
	}
	ref := w[1]
	switch {
	case gone > 0 && gone < n:
		ref = w[gone+copperOf(n-gone)]
	case p.lowest:
		ref = w[0]
	}
	if n == 2 && gone == 0 {
		ref = max(w[0], -w[1])
		if w[0] > 0 { // what both have is copper
			ref = w[0]
		} else if w[1] < 0 {
			ref = w[1]
		}
		if k, ok := p.sound(); ok {
			ref = x[k] / e.s.Ch[k].Base
		}
	}
	for k := range e.m.n {
		x[k] -= ref * e.s.Ch[k].Base
	}
}

// reach returns the contact on channel k that moves the reading by its limit.
func (e *Engine) reach(k int, t float64) float64 {
	c := e.m.ch[k].coef
	lim := float64(e.m.spec.LimitHigh)
	if c < 0 {
		lim = -float64(e.m.spec.LimitLow)
	}
	if c == 0 || math.IsNaN(c) || math.IsNaN(lim) {
		return math.Inf(1)
	}
	return lim * e.m.slope(t) / math.Abs(c)
}

// turnShare is how far a level must come back to have turned, of its peak: the
// humidity of single days moves it by less.
const turnShare = 0.3

// turn follows the ups and downs of a level, once it has been above least. What
// turned by a jump j is no weather.
func (c *chState) turn(q, least, j float64) {
	x := float32(q)
	step := float32(turnShare * c.Peak)
	switch {
	case c.Peak < least:
		c.Turn, c.Down = x, false
	case !c.Down && x > c.Turn, c.Down && x < c.Turn:
		c.Turn = x
	case !c.Down && x < c.Turn-step, c.Down && x > c.Turn+step:
		c.Turn, c.Down = x, !c.Down
		if float32(math.Abs(j)) < step {
			c.Turns = min(c.Turns+1, 200)
		}
	}
}

// inRow counts blocks in a row.
func inRow(n uint8, yes bool) uint8 {
	if !yes {
		return 0
	}
	return min(n+1, 200)
}

// flag updates what each channel remembers of its level.
func (e *Engine) flag(p *picture) {
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		l, q := p.level[k], p.quick[k]
		if math.IsNaN(l) || math.IsNaN(q) || math.IsNaN(p.u[k]) { // nothing new is known
			continue
		}
		if math.Abs(l) < 0.3*p.limit[k] || ch.Rise == 0 {
			ch.Rise, ch.Peak = p.at, ch.Peak*0.9
			if p.at-ch.JumpAt > 10*blockS { // a level of two days shows a jump a day late
				ch.Jump = 0
			}
		}
		ch.Peak = max(ch.Peak*0.995, q)
		if ch.UN >= 6 {
			j := median32(ch.U[recent-2:]) - median32(ch.U[recent-6:recent-2])
			if math.Abs(j) > math.Abs(ch.Jump) {
				ch.Jump, ch.JumpAt, ch.Lag = j, p.at, ch.lag(j)
			}
			ch.turn(q, 2*p.limit[k], j)
		}
		above := math.Abs(l) > p.limit[k] && math.Abs(q) > 0.7*p.limit[k]
		ch.Above = inRow(ch.Above, above)
		ch.Over = inRow(ch.Over, above || math.Abs(q) > quickTimes*p.limit[k] && math.Copysign(l, l*q) > quickHalf*p.limit[k])
		ch.Flagged = math.Abs(l) > 0.6*p.limit[k]
		ch.Risen = min(l, q) > risenShare*p.limit[k] && !ch.abrupt(q)
		ch.Track = 0
		if ch.Flagged {
			ch.Track = q
		}
	}
}
