package drift

import (
	"math"

	"ohmdrift/diagnostics/quantity"
)

// Of two leads that part, one rose or the other fell, and nothing in the loop tells
// which: contacts only add, so the lower one is taken for copper, but a voltage takes a
// lead down, and so does a contact that is made good. The neighbours in the box can
// tell. What the two have in common, held against their copper as it was before, went
// up by half of what they parted by if one rose, and down by as much if the other
// fell. So the middle of the pair is followed against the neighbours' factor, by a line
// that is learnt until the two part.

const (
	// witnessSays is the share of what two leads parted by that their middle must have
	// moved, to be told which of them did: half way to what it should be.
	witnessSays = 0.25
	// witnessScale times the mean absolute residual of a block must be less than what
	// they parted by: two days of it average to a third, so half of the difference
	// stands seven times above the scatter of its middle.
	witnessScale = 5
	// witnessAway of what the neighbours' copper moved beyond what the line was learnt
	// on may be their own: the cable of one follows the sun, that of another the hall.
	witnessAway = 0.1
	// witnessLearns is how many blocks the line is learnt before it says anything, six
	// days, of which the first two teach it where it stands; its scatter is that of the
	// last ten, which the line remembers (fitFade).
	witnessLearns, witnessFirst, witnessMost = 24, 8, 40
	// witnessSteep bounds the slope of the line, of the copper: cables in the open
	// beside others in a hall move three times as much.
	witnessSteep = 2
	// witnessFrom and witnessTo are the shares of the threshold by which the two must
	// have parted for it to matter which moved: what is flagged, and what is not any more.
	witnessFrom, witnessTo = 0.6, 0.3
)

// hear books what the neighbours of a pair say in the running slot. Where others say it
// than when the line was learnt, their middle is another.
func (e *Engine) hear(nb *Neighbour) {
	if e.m.n != 2 {
		return
	}
	b, cu := &e.s.Block, &e.s.Copper
	x := float32(nan)
	if nb != nil && nb.Loops > 0 {
		if n := uint8(min(nb.Loops, boxMost)); !e.parted() {
			cu.Loops, x = n, float32(nb.Factor)
		} else if n == cu.Loops {
			x = float32(nb.Factor)
		}
	}
	b.R[bareOf][b.N] = x
}

// parted tells whether one of two leads stands away from its baseline.
func (e *Engine) parted() bool { return e.s.Ch[0].Flagged || e.s.Ch[1].Flagged }

// middle returns what the two leads of a pair have in common in Ω.
func (e *Engine) middle() float64 { return (e.s.Ch[0].Base + e.s.Ch[1].Base) / 2 }

// attend takes a block: how far the middle of a pair is from what its neighbours'
// copper makes of it.
func (e *Engine) attend() {
	if e.m.n != 2 {
		return
	}
	b, c, base := &e.s.Block, &e.s.Ch[bareOf], e.middle()
	f := median32(b.R[bareOf][:b.N])
	var x [slotsPerBlock]float32
	for i := range b.N {
		x[i] = (b.R[0][i]+b.R[1][i])/2 - b.R[bareOf][i]*float32(base)
	}
	v := core(x[:b.N])
	at, slope := c.Fit.line(witnessSteep * base)
	u := v - at - slope*(f-1)
	push(&c.U, u)
	c.UN = min(c.UN+1, recent)
	if u != u {
		return
	}
	e.s.Copper.Off = float32(c.Fit.away(f) * base)
	if e.parted() {
		return
	}
	c.Fit.add(f, v)
	if c.ScaleN = min(c.ScaleN+1, witnessMost); c.ScaleN > witnessFirst {
		c.Scale += (float32(math.Abs(u)) - c.Scale) / (c.ScaleN - witnessFirst)
	}
}

// overheard returns how far the middle of a pair is from what its neighbours' copper makes
// of it in the newest block, and its scatter; NaN where nobody tells.
func (e *Engine) overheard() (middle, scatter quantity.Ohm) {
	c := &e.s.Ch[bareOf]
	if e.m.n != 2 || c.ScaleN < witnessLearns {
		return quantity.Ohm(nan), quantity.Ohm(nan)
	}
	return quantity.Ohm(c.U[recent-1]), quantity.Ohm(c.Scale)
}

// shift takes a level that one of the two leads has as its own from now on, halved,
// as that of their middle.
func (c *chState) shift(level float64) {
	c.Fit.lift(level)
	for i := range c.U {
		c.U[i] -= float32(level)
	}
}

// heard returns by how much the middle of a pair moved against its neighbours' copper,
// as a share of d, what its first lead is above the second in Ω: half if the first one
// moved, minus half if the second did, to whichever side; 0 where they do not tell.
func (e *Engine) heard(d float64) float64 {
	c := &e.s.Ch[bareOf]
	if c.ScaleN < witnessLearns || math.Abs(d) < witnessScale*float64(c.Scale)+witnessAway*float64(e.s.Copper.Off) {
		return 0
	}
	if m := c.level(8); m == m {
		return m / d
	}
	return 0
}

// witness returns which lead of a pair moved, as its neighbours say. What they said
// holds while a finding stands or the two stand apart, unless they say otherwise: a
// voltage passes through zero when its process does.
func (e *Engine) witness(p *picture) uint8 {
	if e.m.n != 2 {
		return 0
	}
	d := (p.raw[0]/e.s.Ch[0].Base - p.raw[1]/e.s.Ch[1].Base) * e.middle()
	least := min(p.limit[0], p.limit[1])
	switch h := e.heard(d); {
	case math.Abs(d) < witnessTo*least && e.s.Found[aboutContact].Kind == 0:
		return 0
	case math.Abs(d) < witnessFrom*least:
	case h > witnessSays:
		return firstMoved
	case h < -witnessSays:
		return secondMoved
	}
	return p.moved
}

// Which lead of a pair moved, as its neighbours say: one more than its channel; 0 is not
// known.
const (
	firstMoved uint8 = 1 + iota
	secondMoved
)

// told tells whether the neighbours of a pair say that channel k is the one that moved.
func (p *picture) told(k int) bool { return int(p.moved) == k+1 }

// sound returns the channel of a pair that did not move, as its neighbours say.
func (p *picture) sound() (k int, ok bool) { return 2 - int(p.moved), p.moved != 0 }

// turnRound takes another lead of a pair for copper than before, with what its recent
// blocks were: the rise of one was a fall of the other.
func (e *Engine) turnRound(sound int) {
	e.asOf(sound)
	e.s.Copper.F = float64(e.s.Copper.Ring[recent-1])
	x, y := &e.s.Ch[sound], &e.s.Ch[1-sound]
	for i, u := range x.U {
		y.U[i] -= u * float32(y.Base/x.Base)
		x.U[i] = 0
	}
	x.mirror(y)
	if r := &e.s.Found[aboutContact]; r.Kind != 0 && r.Channels == 1<<sound {
		r.Channels = 1 << (1 - sound)
	}
}

// turn takes what the neighbours of a pair say as known. Where the lead that they call
// sound is the one that stands out, everything was the other way round.
func (e *Engine) turn(moved uint8, p *picture) {
	p.moved, e.s.Copper.Moved = moved, moved
	if k, ok := p.sound(); ok && math.Abs(p.level[k])/e.s.Ch[k].Base > math.Abs(p.level[1-k])/e.s.Ch[1-k].Base {
		e.turnRound(k)
	}
	e.levels(p)
}

// mirror gives what was followed of the rise of one lead to the other as its fall.
func (c *chState) mirror(o *chState) {
	c.Couple, o.Couple = o.Couple.negative(), c.Couple.negative()
	c.Swing, o.Swing = o.Swing.negative(), c.Swing.negative()
	c.Jump, o.Jump = -o.Jump, -c.Jump
	c.JumpAt, o.JumpAt = o.JumpAt, c.JumpAt
	c.Lag, o.Lag = o.Lag, c.Lag
	c.Rise, o.Rise = o.Rise, c.Rise
	c.Above, o.Above = o.Above, c.Above
	c.Over, o.Over = o.Over, c.Over
	c.Swings, o.Swings = o.Swings, c.Swings
	c.Turn, o.Turn = -o.Turn, -c.Turn
	c.Turns, o.Turns = o.Turns, c.Turns
	c.Down, o.Down = !o.Down, !c.Down
	c.Flagged, o.Flagged = false, c.Flagged || o.Flagged
	c.Peak, o.Peak = 0, max(0, o.level(3))
	c.Track, o.Track = 0, o.level(3)
	for _, x := range []*chState{c, o} {
		x.Risen, x.PrevOK, x.Spike.Run = false, false, 0
	}
}

func (c coupleState) negative() coupleState {
	return coupleState{Even: -c.Even, Slow: -c.Slow, UU: c.UU, UT: -c.UT, UB: -c.UB}
}

func (s swing) negative() swing {
	s.UF = -s.UF
	for i := range s.Day {
		s.Day[i] = -s.Day[i]
	}
	return s
}

// sayWitness is what the neighbours of a pair say of its leads, to be added to a
// sentence about channel k.
func (e *Engine) sayWitness(k int, p *picture) string {
	c := &e.s.Ch[bareOf]
	m := c.level(8)
	if !p.told(k) || !(m*p.level[k] > 0) {
		return ""
	}
	side, not := "above", "that the other fell"
	if m < 0 {
		side, not = "below", "that the other rose"
	}
	return say("; not %s, says the copper of %d neighbours: the middle of both is %s %s what it makes of them (scatter ±%s)",
		not, e.s.Copper.Loops, ohms(math.Abs(m)), side, ohms(float64(c.Scale)))
}
