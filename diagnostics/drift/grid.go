package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

// gridState finds the step in which lead values come (the resolution) from the
// values themselves: all of them multiples of it. It matters because rounding
// to 20 mΩ hides changes below 10 mΩ and looks like noise.
type gridState struct {
	N    uint32
	On   [len(gridMilli)]uint32 // values of which each step is the coarsest that they are multiples of
	Step float32                // Ω; 0 = finer than 1 mΩ or not known
	Was  float32                // step before the last change
	Next float32                // coarser step that may come
	Same uint8                  // blocks in a row that it has been seen
}

// gridBlocks is how many blocks must agree on a coarser step.
const gridBlocks = 6

// gridMilli are the steps looked for, in mΩ. Each divides the last, so what a value
// leaves of that tells of which it is a multiple, and the coarsest tells the rest.
var gridMilli = [...]uint32{1, 2, 5, 10, 20, 50, gridMost}

const gridMost = 100

// gridOf holds for each remainder of gridMost the coarsest step that divides it.
var gridOf = func() (of [gridMost]uint8) {
	for n := range of {
		for i, q := range gridMilli {
			if uint32(n)%q == 0 {
				of[n] = uint8(i)
			}
		}
	}
	return of
}()

func (g *gridState) take(l *look, n int) {
	for k := range n {
		if math.IsNaN(l.v[k]) {
			continue
		}
		g.N++
		milli := l.v[k] * 1000
		whole := math.RoundToEven(milli) // one instruction; halves are no multiples either way
		if math.Abs(milli-whole) > 1e-4 {
			continue
		}
		g.On[gridOf[uint32(math.Abs(whole))%gridMost]]++ // a negative number has no defined unsigned one
	}
}

// multiples returns how many values are multiples of a step.
func (g *gridState) multiples(q uint32) (n uint32) {
	for i, of := range gridMilli {
		if of%q == 0 {
			n += g.On[i]
		}
	}
	return n
}

// close judges the values of a block: the coarsest step that nearly all are
// multiples of (bad registers are not). It reports a change.
func (g *gridState) close() bool {
	if g.N < 12 {
		return false
	}
	step := float32(0)
	for _, q := range gridMilli {
		if g.multiples(q)*20 >= g.N*19 {
			step = float32(q) / 1000
		}
	}
	if step > g.Step && g.Step != 0 { // a lead that stands still is a multiple of much
		if g.Same == 0 || step < g.Next {
			g.Next = step
		}
		if g.Same++; g.Same < gridBlocks {
			*g = gridState{Step: g.Step, Was: g.Was, Next: g.Next, Same: g.Same}
			return false
		}
		step = g.Next
	}
	changed := g.Step != step
	*g = gridState{Step: step, Was: g.Step}
	return changed && g.Was != 0
}

// coarsest returns the step in which values come, or that they may come in from now
// on, Ω.
func (g *gridState) coarsest() float64 {
	if g.Same > 0 {
		return float64(max(g.Step, g.Next))
	}
	return float64(g.Step)
}

// resolution reports a change of the resolution and learns the noise anew.
func (e *Engine) resolution(p *picture, out []finding.Finding) []finding.Finding {
	g := &e.s.Grid
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		ch.Quiet, ch.QuietN = 0, 0
		if g.Step > g.Was { // what rounding did before it was known to be coarser
			ch.Spike.Sure, ch.Spike.Maybe, ch.Spike.Fast, ch.Spike.Odds = 0, 0, 0, 0
		}
	}
	e.s.Hiss, e.s.Filter = hissState{}, filterState{}
	c := claim{
		kind: finding.DeviceChanged, severity: finding.Info, since: p.at - blockS, contact: math.NaN(), sure: 0.95,
		evidence: say("lead values now come %s, before %s", steps(g.Step), steps(g.Was)),
	}
	return e.raise(aboutWork, p.at, &c, out)
}

// dither is the least scatter of values, in steps of the resolution, from which
// means and noise do not depend on where a lead lies between two steps. Rounding
// alone gives 0.29 on average, from nothing in the middle of a step to a half at its
// edge; with 0.4 of noise the two variances differ by a quarter, and those of
// leads that pass several steps in a day by less.
const dither = 0.5

// carried tells whether noise and the swing of the day carry the values of channel
// k over the steps of the resolution.
func (e *Engine) carried(k int) bool {
	c := &e.s.Ch[k]
	return math.Hypot(float64(c.Quiet), c.Base*math.Sqrt(float64(c.Swing.FF))) >= dither*float64(e.s.Grid.Step)
}

// dithered tells so of every channel.
func (e *Engine) dithered() bool {
	for k := range e.m.n {
		if !e.carried(k) {
			return false
		}
	}
	return true
}

// steps tells in words what a resolution is.
func steps(x float32) string {
	if x == 0 {
		return "in steps too fine to be seen"
	}
	return say("in steps of %.3g mΩ", x*1e3)
}
