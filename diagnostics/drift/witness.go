package drift

import (
	"fmt"
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
	// moved, to be told which of them did: half way to what it should be. As far beyond
	// that, witnessMost, it is the neighbours that moved, or both leads.
	witnessSays, witnessMost = 0.25, 0.75
	// What the middle does against its neighbours is uncertain by its scatter of a block,
	// by witnessOff of its copper, half a kelvin that weather takes weeks for, and by
	// witnessAway of what their copper moved beyond that on which the line was learnt: the
	// cable of one follows the sun, that of another the hall.
	witnessOff, witnessAway = 0.002, 0.1
	// The logarithm of how much likelier one is than the other, a rise by d or a fall, is
	// then m·d over the variance, with the middle at m. Contacts are ten times as common
	// as voltages, we assume; of a rise to be sure e : 1 on top of that is enough, of a
	// fall the logarithm of 200 leaves 20 : 1.
	witnessRise, witnessFall = 1, 5.3
	// witnessLearns is how many blocks the line is learnt before it says anything, six
	// days, of which the first two teach it where it stands; its scatter is that of the
	// last ten, which the line remembers (fitFade).
	witnessLearns, witnessFirst, witnessBlocks = 24, 8, 40
	// witnessSteep bounds the slope of the line, of the copper: cables in the open
	// beside others in a hall move three times as much.
	witnessSteep = 2
	// witnessFrom and witnessTo are the shares of the threshold by which the two must
	// have parted for it to matter which moved: what is flagged, and what is not any more.
	witnessFrom, witnessTo = 0.6, 0.3
	// witnessHeard of the blocks of two days must be known.
	witnessHeard = 4
)

// A pair has no lead on the channels from bareOf on. They keep what both have in common.
const (
	middleOf = bareOf     // the channel in which the middle of the two is followed
	factorOf = bareOf     // where a block keeps the copper factor of the neighbours
	loopsOf  = bareOf + 1 // and how many they are
)

// bothLeads has the bits of the channels of a pair.
const bothLeads = 1<<0 | 1<<1

// hear books what the neighbours of a pair say in the running slot.
func (e *Engine) hear(nb *Neighbour) {
	if e.m.n != 2 {
		return
	}
	b := &e.s.Block
	b.R[factorOf][b.N], b.R[loopsOf][b.N] = float32(nan), 0
	if nb != nil && nb.Loops > 0 {
		b.R[factorOf][b.N], b.R[loopsOf][b.N] = float32(nb.Factor), float32(nb.Loops)
	}
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
	b, c, base := &e.s.Block, &e.s.Ch[middleOf], e.middle()
	f := e.toldFactor()
	var x [slotsPerBlock]float32
	for i := range b.N {
		x[i] = (b.R[0][i]+b.R[1][i])/2 - b.R[factorOf][i]*float32(base)
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
	if c.ScaleN = min(c.ScaleN+1, witnessBlocks); c.ScaleN > witnessFirst {
		c.Scale += (float32(math.Abs(u)) - c.Scale) / (c.ScaleN - witnessFirst)
	}
}

// toldFactor returns the neighbours' copper factor of the block; NaN where they do not
// know it. Copper never stands still to the last bit: then nobody of them is polled.
func (e *Engine) toldFactor() float64 {
	b := &e.s.Block
	if n := uint8(min(median32(b.R[loopsOf][:b.N]), boxMost)); n != e.s.Copper.Loops {
		e.othersSpeak(n)
		return nan
	}
	if b.N > 1 && span(b.R[factorOf][:b.N]) == 0 {
		return nan
	}
	return median32(b.R[factorOf][:b.N])
}

// othersSpeak begins the line anew: the middle of other neighbours is another, and so is
// that of one who was learnt anew. While the two stand apart there is nothing to learn
// it on.
func (e *Engine) othersSpeak(loops uint8) {
	if e.parted() {
		e.s.Copper.Loops = 0
		return
	}
	e.s.Copper.Loops = loops
	c := &e.s.Ch[middleOf]
	c.Fit, c.Scale, c.ScaleN, c.UN = fit{}, 0, 0, 0
}

// overheard returns how far the middle of a pair is from what its neighbours' copper makes
// of it in the newest block, and its scatter; NaN where nobody tells.
func (e *Engine) overheard() (middle, scatter quantity.Ohm) {
	c := &e.s.Ch[middleOf]
	if e.m.n != 2 || e.s.Copper.Loops == 0 || c.ScaleN < witnessLearns {
		return quantity.Ohm(nan), quantity.Ohm(nan)
	}
	return quantity.Ohm(c.U[recent-1]), quantity.Ohm(c.Scale)
}

// agree takes the middle of a pair, where it is now, as its own: what moved it is learnt.
func (c *chState) agree() {
	m := c.level(8)
	if m != m {
		return
	}
	c.Fit.lift(m)
	for i := range c.U {
		c.U[i] -= float32(m)
	}
}

// verdict is which lead of a pair moved, as its neighbours say, and to which side; 0 is
// not known.
type verdict uint8

const (
	firstRose verdict = 1 + iota
	secondRose
	firstFell
	secondFell
)

// mover returns the channel that moved.
func (v verdict) mover() (k int, ok bool) { return int(v-1) & 1, v != 0 }

// rose tells whether it rose.
func (v verdict) rose() bool { return v == firstRose || v == secondRose }

// rose tells whether a lead that is d above the other in Ω, the first above the second,
// has risen if it is the one that moved.
func rose(k int, d float64) bool { return (d > 0) == (k == 0) }

// heard returns which lead of a pair moved, as its neighbours say, where the first is d
// above the second in Ω: by the middle of the two, which went half of the way with it.
func (e *Engine) heard(d float64) verdict {
	c := &e.s.Ch[middleOf]
	if e.s.Copper.Loops == 0 || c.ScaleN < witnessLearns || numbers(c.U[recent-8:]) < witnessHeard {
		return 0
	}
	m := c.level(8)
	h, sure := m/d, math.Abs(m*d)/e.doubtOfMiddle()
	switch {
	case !(math.Abs(h) > witnessSays && math.Abs(h) < witnessMost && sure > witnessRise) || m < 0 && sure < witnessFall:
		return 0
	case h > 0 && m > 0:
		return firstRose
	case h > 0:
		return firstFell
	case m > 0:
		return secondRose
	}
	return secondFell
}

// doubtOfMiddle returns the variance of the middle of a pair against its neighbours, Ω².
func (e *Engine) doubtOfMiddle() float64 {
	x, y, z := float64(e.s.Ch[middleOf].Scale), witnessOff*e.middle(), witnessAway*float64(e.s.Copper.Off)
	return x*x + y*y + z*z
}

// numbers counts the numbers in x.
func numbers(x []float32) (n int) {
	for _, v := range x {
		if isNumber(v) {
			n++
		}
	}
	return n
}

// witness returns which lead of a pair moved. Once a finding stands it is not asked again
// before the two have changed sides: the line is as old as the finding, and neighbours
// come, go and have seasons. A voltage changes sides when its process does, and two leads
// do of which the second to fail overtakes the first.
func (e *Engine) witness(p *picture) verdict {
	if e.m.n != 2 {
		return 0
	}
	d := (p.raw[0]/e.s.Ch[0].Base - p.raw[1]/e.s.Ch[1].Base) * e.middle()
	least := min(p.limit[0], p.limit[1])
	stands := e.s.Found[aboutContact].Channels&bothLeads != 0
	now := e.heard(d)
	k, known := p.moved.mover()
	switch {
	case math.Abs(d) < witnessTo*least && !stands:
		return 0
	case math.Abs(d) < witnessFrom*least || now == 0:
		return p.moved
	case known && stands && rose(k, d) == p.moved.rose():
		return p.moved
	}
	return now
}

// told tells whether the neighbours of a pair say that channel k is the one that moved.
func (p *picture) told(k int) bool {
	j, ok := p.moved.mover()
	return ok && j == k
}

// sound returns the channel of a pair that did not move, as its neighbours say.
func (p *picture) sound() (k int, ok bool) {
	j, ok := p.moved.mover()
	return 1 - j, ok
}

// sayWitness is what the neighbours of a pair say of its leads, to be added to a
// sentence about channel k.
func (e *Engine) sayWitness(k int, p *picture) string {
	c := &e.s.Ch[middleOf]
	m := c.level(8)
	if e.s.Copper.Loops == 0 || !p.told(k) || !(m*p.level[k] > 0) {
		return ""
	}
	who, other, off := "a neighbour", "fall", "high"
	if n := e.s.Copper.Loops; n > 1 {
		who = fmt.Sprintf("%d neighbours", n)
	}
	if m < 0 {
		other, off = "rise", "low"
	}
	return say("; the other one did not %s instead: by the copper of %s the mean of both is %s too %s (scatter ±%s)",
		other, who, ohms(math.Abs(m)), off, ohms(float64(c.Scale)))
}
