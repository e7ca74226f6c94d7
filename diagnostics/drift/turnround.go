package drift

import (
	"math"

	"ohmdrift/diagnostics/copper"
)

// accept takes what the neighbours of a pair say as known. Where the lead that they call
// sound is the one that stands out, everything was the other way round.
func (e *Engine) accept(moved verdict, p *picture) {
	p.moved, e.s.Copper.Moved = moved, moved
	if k, ok := p.sound(); ok && math.Abs(p.level[k])/e.s.Ch[k].Base > math.Abs(p.level[1-k])/e.s.Ch[1-k].Base {
		e.turnRound(k)
	}
	e.levels(p)
}

// turnRound takes another lead of a pair for copper than before, with what its recent
// blocks were: the rise of one was a fall of the other. A finding that stands about it
// changes its name at once.
func (e *Engine) turnRound(sound int) {
	x, y := &e.s.Ch[sound], &e.s.Ch[1-sound]
	e.asOf(sound)
	if u := x.level(3) / x.Base; u == u {
		e.s.Copper.F += u
		warmer := float32(e.s.Copper.ref() * u / copper.Alpha20)
		e.s.Pair.Box, e.s.Pair.SlowB = e.s.Pair.Box+warmer, e.s.Pair.SlowB+warmer
	}
	for i, u := range x.U {
		y.U[i] -= u * float32(y.Base/x.Base)
		x.U[i] -= u // what was not known stays so
	}
	x.mirror(y)
	if r := &e.s.Found[aboutContact]; r.Kind != 0 && r.Channels == 1<<sound {
		r.Channels, e.s.Other, e.s.Still.At = 1<<(1-sound), atOnce, -e.s.Still.At
	}
}

// mirror gives what was followed of a lead, as a rise, to the other one as its fall; what
// either had of it is added up. The one that is sound begins anew.
func (c *chState) mirror(o *chState) {
	o.Couple.take(&c.Couple)
	o.Swing.take(&c.Swing)
	o.Jump, o.JumpAt, o.Lag = o.Jump-c.Jump, c.JumpAt, c.Lag
	o.Rise, o.Above, o.Over, o.Swings = c.Rise, c.Above, c.Over, c.Swings
	o.Turn, o.Turns, o.Down = o.Turn-c.Turn, c.Turns, !c.Down
	o.Flagged = o.Flagged || c.Flagged
	o.Track = o.level(3)
	o.Peak = max(0, o.Track)
	c.Couple, c.Swing = coupleState{}, swing{FF: c.Swing.FF}
	c.Jump, c.Above, c.Over, c.Swings, c.Turn, c.Turns, c.Flagged, c.Track, c.Peak = 0, 0, 0, 0, 0, 0, false, 0, 0
	for _, x := range []*chState{c, o} {
		x.Risen, x.PrevOK, x.Spike.Run = false, false, 0
	}
}

// take adds the movement of the other lead, to the other side.
func (c *coupleState) take(o *coupleState) {
	c.Even, c.Slow, c.UT, c.UB = c.Even-o.Even, c.Slow-o.Slow, c.UT-o.UT, c.UB-o.UB
	c.UU = halves(c.UU, o.UU)
}

// take adds the movement of the other lead, to the other side.
func (s *swing) take(o *swing) {
	s.UF -= o.UF
	s.UU = halves(s.UU, o.UU)
	for i := range s.Day {
		s.Day[i] -= o.Day[i]
	}
}

// halves returns the variance of what two halves of one movement add up to.
func halves(x, y float32) float32 {
	s := math.Sqrt(float64(x)) + math.Sqrt(float64(y))
	return float32(s * s)
}
