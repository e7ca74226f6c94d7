package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

// closeSlot turns the samples of the running slot into one value a channel. A slot
// whose copper is not known, for too many leads have no value, is none.
func (e *Engine) closeSlot(fr *frame, nb *Neighbour) {
	sl, b := &e.s.Slot, &e.s.Block
	n := sl.N
	sl.N = 0
	if n == 0 || b.N >= slotsPerBlock {
		return
	}
	var v [channels]float64
	for k := range e.m.n {
		v[k] = median32(sift(sl.R[k][:n]))
		b.R[k][b.N] = float32(v[k])
	}
	e.hear(nb)
	t := median32(sl.T[:n])
	b.T[b.N], b.F[b.N] = float32(t), 1
	e.s.Read = readState{sl.Index * slotS, t}
	if e.seesError() {
		e.s.Read.Value = nan
	}
	switch f, ok := e.factor(&v, fr, nb); {
	case ok:
		e.slot(&v, fr, f, t)
	case e.m.n > 0 && e.s.Ch[0].Base > 0:
		return
	}
	b.N++
}

// slot books the values v of a slot at copper factor f and reading t.
func (e *Engine) slot(v *[channels]float64, fr *frame, f, t float64) {
	b := &e.s.Block
	b.F[b.N] = float32(f)
	for k := range e.m.n {
		if v[k] == 0 {
			v[k] = nan // whether that is a lead, the block tells
		}
	}
	var p part
	e.part(fr, v, f, t, &p)
	err := e.errorOf(v, f, t)
	if e.seesError() {
		e.s.Read.Value = t - err
	}
	e.account(&p, err)
	e.warmed(&p, b.N)
	e.couple(&p, err)
	e.jumped(e.own(v, f))
}

// sift takes the zeros out of values of a lead, unless most are zero: then they are
// its value.
func sift(x []float32) []float32 {
	zeros := 0
	for _, v := range x {
		if v == 0 {
			zeros++
		}
	}
	if zeros > 0 && 2*zeros <= len(x) {
		for i := range x {
			if x[i] == 0 {
				x[i] = float32(nan)
			}
		}
	}
	return x
}

// median32 returns the median of the numbers among x, NaN when there are none.
func median32(x []float32) float64 {
	if len(x) == 1 { // a slot of a poll in ten minutes
		return float64(x[0])
	}
	var buf [slotsPerBlock]key
	y := sorted(x, &buf)
	n := len(y)
	if n == 0 {
		return math.NaN()
	}
	return (y[(n-1)/2].value() + y[n/2].value()) / 2
}

// enough tells whether the running block has the slots to be judged: a third of
// what the sampling interval can give, so that a median means something.
func (e *Engine) enough() bool {
	want := slotsPerBlock
	if e.s.Step > slotS {
		want = int(blockS / float64(e.s.Step))
	}
	return int(e.s.Block.N) >= max(2, want/3)
}

// endBlock closes the running block; one that ends in a function check is not judged.
func (e *Engine) endBlock(out []finding.Finding) []finding.Finding {
	if e.s.Work {
		e.dropBlock()
		return out
	}
	return e.closeBlock(out)
}

// closeBlock judges the running block and begins the next one.
func (e *Engine) closeBlock(out []finding.Finding) []finding.Finding {
	b := &e.s.Block
	if e.enough() {
		for k := range e.m.n {
			sift(b.R[k][:b.N])
		}
		switch {
		case e.m.n == 0:
			out = e.judgeReading(out)
		case e.tooSoon():
			e.s.Copper.JumpFrom = 1
			e.renew()
			e.begin()
		case e.s.Ch[0].Base == 0:
			e.begin()
		default:
			out = e.judge(out)
		}
		e.sensorBlock()
	}
	e.dropBlock()
	return out
}

// dropBlock empties the running block.
func (e *Engine) dropBlock() {
	e.s.Block.N = 0
	e.s.Heat.Mask, e.s.Heat.From, e.s.Heat.Warm = 0, 0, false
	for k := range e.m.n {
		e.s.Ch[k].Diff, e.s.Ch[k].DiffN = 0, 0
	}
}

// begin takes the block as the start of a baseline: factor 1.
func (e *Engine) begin() {
	b := &e.s.Block
	for k := range e.m.n {
		m := median32(b.R[k][:b.N])
		if !(m > 0) {
			for j := range k {
				e.s.Ch[j].Base = 0
			}
			return // a lead that never answers: no common factor yet
		}
		e.s.Ch[k].Base = m
		e.s.Ch[k].Sigma = roughness(b.R[k][:b.N])
	}
	e.s.Copper.Blocks = 0
	e.chooseReference()
}

// roughness estimates the standard deviation of single values from the median
// of their successive differences.
func roughness(x []float32) float64 {
	var d [slotsPerBlock]float32
	n := 0
	for i := 1; i < len(x); i++ {
		if v := x[i] - x[i-1]; v == v {
			d[n] = max(v, -v)
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return median32(d[:n]) * madToSigma / math.Sqrt2
}

// madToSigma turns a median absolute deviation of normal data into a standard
// deviation: 1/Φ⁻¹(0.75).
const madToSigma = 1.4826022185

// core returns the mean of the middle half of the numbers among x: as deaf to
// outliers as a median, and it still moves when rounding holds a median still.
func core(x []float32) float64 {
	var buf [slotsPerBlock]key
	y := sorted(x, &buf)
	n := len(y)
	if n == 0 {
		return math.NaN()
	}
	cut := n / 4
	sum := 0.0
	for _, v := range y[cut : n-cut] {
		sum += v.value()
	}
	return sum / float64(n-2*cut)
}

func push(ring *[recent]float32, x float64) {
	copy(ring[:], ring[1:])
	ring[recent-1] = float32(x)
}

// level returns the median of the last n residuals of a channel; NaN when there
// are fewer than half of them.
func (c *chState) level(n int) float64 {
	have := min(int(c.UN), n)
	if have*2 < n {
		return math.NaN()
	}
	return median32(c.U[recent-have:])
}
