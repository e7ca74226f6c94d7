package drift

import (
	"fmt"
	"math"
	"math/bits"
	"strings"
)

// sayBridged writes that the channels low, as bits, of r Ω each are bridged: held
// against a share of ref, which the others have, or against their own baseline.
func (e *Engine) sayBridged(low uint8, r *[channels]float64, share, ref float64, p *picture) string {
	if bits.OnesCount8(low) > 1 {
		return e.sayJoined(low, r, ref, p) + e.sayTaken(low)
	}
	k := bits.TrailingZeros8(low)
	if longest := e.longest(r); ref < shortOhm || !(r[k] < share*ref) {
		return fmt.Sprintf("%s is %.3f Ω, less than %.0f %% of the %.3f Ω that it had in the baseline, and %s is as long as before: bridged",
			e.m.name(k), max(r[k], 0), share*100, e.s.Ch[k].Base, e.m.name(longest)) + e.sayTaken(low)
	}
	others := "its neighbours"
	if e.m.ch[k].sum {
		others = "the other sum"
	}
	return fmt.Sprintf("%s is %.3f Ω, less than %.0f %% of the %.3f Ω of %s: a jumper in place of a lead", e.m.name(k), max(r[k], 0), share*100, ref, others) + e.sayTaken(low)
}

// sayJoined writes of several bridged channels what they have and had, and which
// others are as they were.
func (e *Engine) sayJoined(low uint8, r *[channels]float64, ref float64, p *picture) string {
	fell := false
	var names, now, was, others []string
	for k := range e.m.n {
		ch, name := &e.s.Ch[k], strings.TrimPrefix(e.m.name(k), "lead ")
		switch {
		case low>>k&1 != 0:
			names, fell = append(names, name), fell || e.bridged(k, r[k])
			now, was = append(now, fmt.Sprintf("%.3f Ω", max(r[k], 0))), append(was, fmt.Sprintf("%.3f Ω", ch.Base))
		case math.Abs(p.u[k]) < sameShare*ch.Base:
			others = append(others, name)
		}
	}
	s := "leads " + list(names) + " have " + list(now)
	if !fell { // they were so when the loop was put into service
		return s + fmt.Sprintf(", less than %.0f %% of the %.3f Ω of the others: joined at the transmitter", shortShare*100, ref)
	}
	s += ", in the baseline " + list(was)
	switch len(others) {
	case 0:
	case 1:
		s += "; lead " + others[0] + " is unchanged"
	default:
		s += "; leads " + list(others) + " are unchanged"
	}
	return s + ": joined at the transmitter"
}

// sameShare is how far a lead may be from its baseline, copper taken off, to be called
// unchanged, as a share of it: what the hours of a day do to one in the sun.
const sameShare = 0.05

// sayTaken adds that no lead is left that the method takes off the reading.
func (e *Engine) sayTaken(low uint8) string {
	off := uint8(0)
	for k := range e.m.n {
		if e.m.ch[k].coef < 0 {
			off |= 1 << k
		}
	}
	if e.m.spec.Wires != 3 || off == 0 || off&^low != 0 {
		return ""
	}
	return "; nothing is taken off the reading any more"
}

// list joins words as people do: a, b and c.
func list(x []string) string {
	if n := len(x); n > 1 {
		return strings.Join(x[:n-1], ", ") + " and " + x[n-1]
	}
	return strings.Join(x, "")
}

// halfLeast and halfMost are the fall of a sum of two leads of which one is bridged:
// cores of one cable differ by a few per cent, and a jumper has some of what it
// bridges. Another cable may be half as long as well, but seldom is.
const halfLeast, halfMost = 0.45, 0.55

// halved tells whether a single sum lost what one of its two leads had.
func (e *Engine) halved(away float64) bool {
	return e.m.n == 1 && e.m.ch[0].sum && -away > halfLeast && -away < halfMost
}

// sayHalved writes that a single sum is by so much away from what it was.
func (e *Engine) sayHalved(away float64) string {
	return fmt.Sprintf("%s fell by %.1f %% within one poll at %s and stayed: one of the two is bridged, or it is another cable; if nobody changed the cable, look for a jumper; learnt",
		e.m.name(0), -away*100, clock(e.s.Copper.JumpAt))
}
