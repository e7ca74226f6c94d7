package drift

import (
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
)

// Two metals that meet in the head make a thermocouple with the box as its other
// junction: u = g·(T_head − T_box). The reading tells T_head, the copper T_box
// but for a constant. So a voltage moves with a known signal, in a known
// proportion to its level, and to a known side; it may pass through zero. A
// contact does not know the process; it knows the weather, and by no constant
// factor. What is compared is the movement within days, after growth is taken
// off: growth has no sign of its own.

const (
	// headLag: a head follows its process within about an hour (common practice);
	// half as much and twice as much still leave most of the correlation.
	headLag = slotS / 3600.0
	// slowLag is the half day that is taken off as growth: shorter would take the
	// day's swing as well, longer leaves more of a level that doubles in days.
	slowLag = slotS / (12 * 3600.0)
	// coupleMemory is that of the movement, five days as of swings: a few days and
	// nights, some batches.
	coupleMemory = slotS / (5.0 * dayS)
	// coupleClip cuts what is no movement within hours, in deviations: steps,
	// excursions.
	coupleClip = 5
	coupleOhm  = 0.003 // Ω, and at least this much: what a sound terminal may move by

	// coupleShare is the share of the movement that the difference explains from
	// which it is its cause. Of contacts whose process moves it stays below 0.2.
	coupleShare = 0.3
	// coupleProcess is the share that the process alone explains, where it moves.
	coupleProcess = 0.15
	// coupleStill: where the process stands still there is the box alone, as for a
	// contact that its warmth opens. Only a voltage follows that by a constant
	// factor; a contact saturates and never opens twice alike.
	coupleStill = 0.8
	// processShare of the movement of the difference must be that of the process
	// for it to count as moving, in its own time (a tank out of doors moves as its
	// box does), and processLeast in K: less is the reading's own noise.
	processShare = 0.3
	processLeast = 0.5
	// coupleKept: a voltage stays one with half of the shares.
	coupleKept = 0.5
	// boxColdest and boxHottest bound the temperature of a box when its baseline
	// began, °C; between them and the process lies the difference that the level
	// must fit. While a voltage grows its level is ahead of its movement, by up to
	// coupleAhead; a head that is slower than assumed leaves it behind by up to
	// coupleBehind.
	boxColdest, boxHottest = -20, 45
	coupleAhead            = 3
	coupleBehind           = 0.7
	// aheadStill: where the process stands still there is no second end to tell
	// by, and the level itself must fit.
	aheadStill = 1
)

// pairState follows the two ends of a thermocouple: head and box.
type pairState struct {
	Head, Even, Box float32 // process as the head feels it, that evened as residuals are, box, °C; the box from factor 1
	SlowT, SlowB    float32 // the same over half a day
	TT, BB, TB      float32 // fading moments of what is above or below that
	Known           bool
}

// coupleState follows how a channel moves with the two.
type coupleState struct {
	Even, Slow float32 // residual over an hour and over half a day, Ω
	UU, UT, UB float32 // fading moments of the one less the other
}

// ewma32 moves z towards x by a weight.
func ewma32(z *float32, x, weight float32) { *z += weight * (x - *z) }

// couple adds a slot with the reading error err.
func (e *Engine) couple(p *part, err float64) {
	s, f, t := &e.s.Pair, p.f, p.t
	if err == err {
		t -= e.m.raw * err // what the leads do to the reading is no process
	}
	box := float32((e.s.Copper.ref()*f - 1) / copper.Alpha20)
	switch {
	case t != t && !s.Known:
		return
	case t != t:
		t = float64(s.Head)
	case !s.Known:
		h := float32(t)
		*s = pairState{Head: h, Even: h, Box: box, SlowT: h, SlowB: box, Known: true}
	}
	ewma32(&s.Head, float32(t), headLag)
	ewma32(&s.Even, s.Head, headLag)
	ewma32(&s.Box, box, headLag)
	dt, db := s.Even-s.SlowT, s.Box-s.SlowB
	s.SlowT, s.SlowB = s.SlowT+slowLag*dt, s.SlowB+slowLag*db
	ewma32(&s.TT, dt*dt, coupleMemory)
	ewma32(&s.BB, db*db, coupleMemory)
	ewma32(&s.TB, dt*db, coupleMemory)
	for k := range e.m.n {
		if x := float32(p.bare[k] - p.usual[k]); x == x {
			e.s.Ch[k].Couple.add(x, dt, db)
		}
	}
	if e.m.n == 2 {
		for k := range e.m.n {
			if x := float32(p.v[k] - e.s.Ch[k].Base); x == x {
				e.s.Ch[bareOf+k].Couple.add(x, dt, db)
			}
		}
	}
}

// bareOf is the channel from which on the two leads of a pair are followed with
// their copper: its own state is free there.
const bareOf = 2

// puller returns which of two leads moves with the process. Between them a voltage
// in one is the same as one of the other sign in the other, but copper knows
// nothing of the process: the lead without a voltage stands still when it moves. ok
// is false where both follow it, as when the cable is warmed by the line, or none.
func (e *Engine) puller() (k int, ok bool) {
	x, y := math.Abs(float64(e.s.Ch[bareOf].Couple.UT)), math.Abs(float64(e.s.Ch[bareOf+1].Couple.UT))
	if y > x {
		k, x, y = 1, y, x
	}
	return k, y < pulledLess*x
}

// pulledLess is the most that the other lead may move with the process, of the one
// that does.
const pulledLess = 0.4

// within cuts x at most to either side. Little is ever cut, so two branches that
// are guessed right are cheaper than min and max, which look after signed zeros.
func within[T float32 | float64](x, most T) T {
	switch {
	case x > most:
		return most
	case x < -most:
		return -most
	}
	return x
}

func (c *coupleState) add(x, dt, db float32) {
	most := coupleClip*float32(math.Sqrt(float64(c.UU))) + coupleOhm
	c.Even += within(headLag*(x-c.Even), most)
	u := within(c.Even-c.Slow, most)
	c.Slow += slowLag * u
	ewma32(&c.UU, u*u, coupleMemory)
	ewma32(&c.UT, u*dt, coupleMemory)
	ewma32(&c.UB, u*db, coupleMemory)
}

// shift takes a level as the channel's own from now on.
func (c *coupleState) shift(level float64) {
	c.Even -= float32(level)
	c.Slow -= float32(level)
}

// coupling is how much a channel is like a thermocouple.
type coupling struct {
	share   float64 // of its movement within days that the temperature difference explains
	process float64 // correlation with the head alone; 0 where the process stands still
	gain    float64 // Ω/K
}

func (e *Engine) coupling(k int) (c coupling) {
	s, m := &e.s.Pair, &e.s.Ch[k].Couple
	uu, ut, ub := float64(m.UU), float64(m.UT), float64(m.UB)
	tt, bb, tb := float64(s.TT), float64(s.BB), float64(s.TB)
	dd := tt - 2*tb + bb
	if uu <= 0 || dd <= 0 {
		return c
	}
	c.gain = (ut - ub) / dd
	c.share = c.gain * (ut - ub) / uu
	if own := tt - tb*tb/bb; own > max(processShare*dd, processLeast*processLeast) {
		c.process = ut / math.Sqrt(tt*uu)
	}
	return c
}

// isVoltage tells whether the finding that stands calls channel k a voltage.
func (e *Engine) isVoltage(k int) bool {
	r := &e.s.Found[aboutContact]
	return r.kind() == finding.ThermalEMF && r.Channels>>k&1 != 0
}

// thermocouple tells whether a channel moves as a thermocouple between head and
// box does: as much of it, and of its level, to the side where the process is.
func (e *Engine) thermocouple(k int, p *picture) bool {
	if e.isVoltage(k) {
		return e.leansTo(k, p, coupleKept)
	}
	return e.leansTo(k, p, 1)
}

// leansTo tells whether a channel moves as a thermocouple does by so much of
// what is asked for.
func (e *Engine) leansTo(k int, p *picture, kept float64) bool {
	c := e.coupling(k)
	if c.gain == 0 {
		return false
	}
	if c.process == 0 && c.share < coupleStill*math.Sqrt(kept) || c.process != 0 && (c.share < coupleShare*kept || c.process*c.process < coupleProcess*kept) {
		return false
	}
	x, ahead := (float64(e.s.Ch[k].Couple.Slow)+p.level[k]-p.raw[k])/c.gain, float64(coupleAhead)
	if c.process == 0 {
		if ahead = aheadStill; e.between() < betweenLeast && x > 0 || e.between() > -betweenLeast && x < 0 {
			return false
		}
	}
	return e.apart(x, ahead)
}

// betweenLeast is how far a head must be from the middle of what its box may have, K,
// for the sign of their difference to be likely.
const betweenLeast = 5

// between returns the temperature difference of head and box for the middle of the
// temperatures that the box can have, K. Where the process stands still a clamp that
// opens with warmth looks like a voltage of the other sign.
func (e *Engine) between() float64 {
	return float64(e.s.Pair.SlowT-e.s.Pair.SlowB) - (boxColdest+boxHottest)/2.0
}

// apart tells whether head and box can be so many kelvin apart, with a level that
// much ahead of its movement.
func (e *Engine) apart(x, ahead float64) bool {
	d := float64(e.s.Pair.SlowT - e.s.Pair.SlowB)
	lo, hi := d-boxHottest, d-boxColdest
	if x < 0 {
		x, lo, hi = -x, -hi, -lo
	}
	return x/ahead < hi && x/coupleBehind > lo
}
