package drift

import (
	"math"
	"slices"

	"ohmdrift/diagnostics/drift/stat"
	"ohmdrift/diagnostics/finding"
)

// picture is what one block shows, before anything is decided.
type picture struct {
	at     int64 // end of the block, s
	f      float64
	t      float64           // reading, °C; NaN = not known
	u      [channels]float64 // residual of the block, Ω, common part not shifted
	raw    [channels]float64 // level of two days before the common part is shifted, Ω
	level  [channels]float64 // of two days, Ω
	quick  [channels]float64 // of the last three blocks, Ω
	newest [channels]float64 // of the last block alone, Ω
	mean   [channels]float64 // of two days, every block counted, Ω
	limit  [channels]float64 // level at which a contact is called bad, Ω
	reach  [channels]float64 // contact that moves the reading by its whole limit, Ω; +Inf without one
	grow   float64           // factor on every limit while the baseline is young
	blocks uint32
	shared float64 // what all leads have beyond the copper factor, as a share of each
	lowest bool    // of three leads two rose: the lowest one is copper
	moved  verdict // which lead of a pair moved, as its neighbours say
}

// judge takes a complete block: contact parts, findings, learning.
func (e *Engine) judge(out []finding.Finding) []finding.Finding {
	b, cu := &e.s.Block, &e.s.Copper
	p := picture{at: (b.Index + 1) * blockS, f: median32(b.F[:b.N]), t: median32(b.T[:b.N]), moved: cu.Moved}
	push(&cu.Ring, p.f)
	push(&cu.Temp, p.t)
	cu.N = min(cu.N+1, recent)
	cu.Blocks++
	p.blocks = cu.Blocks
	e.heatBlock()
	if joined := cu.JumpAt != 0 && e.s.Found[aboutWiring].Kind != 0; e.s.Grid.close() && !joined { // a jumper stands still, whatever the resolution
		out = e.resolution(&p, out)
	}
	var c [channels]float64
	for k := range e.m.n {
		c[k] = e.contact(k)
	}
	e.season(p.f, &c)
	moved := p.f - median32(cu.Ring[recent-min(int(cu.N), 8):])
	for k := range e.m.n {
		p.u[k] = math.NaN()
		if !math.IsNaN(c[k]) {
			p.u[k] = c[k] - e.s.Ch[k].usual(p.f)
			e.follow(k, &p, moved)
		}
	}
	p.shared = e.shared(&p)
	e.attend()
	e.levels(&p)
	if m := e.witness(&p); m != p.moved {
		e.accept(m, &p)
	}
	e.s.TwoRose = p.lowest
	if o, ok := e.works(&p, out); ok {
		return o
	}
	e.flag(&p)
	out = e.wired(&p, out)
	out = e.changes(&p, out)
	out = e.filtered(&p, out)
	out = e.hissing(&p, out)
	out = e.decide(&p, out)
	out = e.spliced(&p, out)
	out = e.beside(&p, out)
	for k := range e.m.n {
		if !math.IsNaN(p.u[k]) && !e.s.Ch[k].Flagged && !e.spiking(k) {
			e.learn(k, &p)
		}
	}
	e.fade()
	return out
}

// beside judges what rests on no contact.
func (e *Engine) beside(p *picture, out []finding.Finding) []finding.Finding {
	out = e.limits(p, out)
	out = e.telegrams(p, out)
	return e.forgetWork(p, out)
}

// contact returns the contact part of a channel over the block, Ω.
func (e *Engine) contact(k int) float64 {
	b := &e.s.Block
	var x [slotsPerBlock]float32
	warm := e.heated(k)
	for i := range b.N {
		if warm>>i&1 != 0 {
			x[i] = float32(math.NaN())
			continue
		}
		x[i] = b.R[k][i] - b.F[i]*float32(e.s.Ch[k].Base)
	}
	return core(x[:b.N])
}

// Smoothing of what is followed from block to block.
const (
	swingWeight = 0.05 // five days of blocks: a few day-night cycles
)

// follow updates what a channel remembers of its recent blocks; f is how far the
// copper factor is from that of two days.
func (e *Engine) follow(k int, p *picture, f float64) {
	ch := &e.s.Ch[k]
	if ch.DiffN > 5 {
		ch.Sigma = math.Sqrt(float64(ch.Diff) / float64(ch.DiffN) / 2)
	}
	if ch.UN >= 4 {
		u := p.u[k] - ch.level(8)
		most := max(5*ch.Swing.size(), 4*float64(ch.Scale), 0.002) // a step is no swing
		ch.Swing.add(min(max(u, -most), most), f, int(p.at/blockS)&3)
	}
	push(&ch.U, p.u[k])
	ch.UN = min(ch.UN+1, recent)
}

func (s *swing) add(u, f float64, quarter int) {
	s.Day[quarter] += 4 * swingWeight * (float32(u) - s.Day[quarter])
	s.UU = float32(ewma(float64(s.UU), u*u, swingWeight))
	s.FF = float32(ewma(float64(s.FF), f*f, swingWeight))
	s.UF = float32(ewma(float64(s.UF), u*f, swingWeight))
}

// ewma moves an exponentially weighted mean z towards x by a weight.
func ewma(z, x, weight float64) float64 { return stat.EWMA(z, x, weight) }

// size returns the standard deviation of the residual around its level, Ω.
func (s *swing) size() float64 { return math.Sqrt(float64(s.UU)) }

// byCopper returns the correlation of the residual with the copper factor (the
// temperature of the cable).
func (s *swing) byCopper() float64 { return correlation(s.UF, s.UU, s.FF) }

// byDay returns the share of the movement that repeats every day.
func (s *swing) byDay() float64 {
	if s.UU <= 0 {
		return 0
	}
	sum, mean := 0.0, 0.0
	for _, d := range s.Day {
		mean += float64(d) / 4
	}
	for _, d := range s.Day {
		sum += (float64(d) - mean) * (float64(d) - mean) / 4
	}
	return sum / float64(s.UU)
}

func correlation(xy, xx, yy float32) float64 {
	if xx <= 0 || yy <= 0 {
		return 0
	}
	return float64(xy) / math.Sqrt(float64(xx)*float64(yy))
}

// shared returns the middle of what the leads have beyond the copper factor, as
// shares of them. What they have in common is copper: learnt as theirs it would
// move the factor, and the factor them.
func (e *Engine) shared(p *picture) float64 {
	n := e.m.n
	if n < 2 {
		return 0
	}
	var x [channels]float64
	for k := range n {
		ch := &e.s.Ch[k]
		x[k] = (p.u[k] + ch.line(p.f)) / ch.Base
		if x[k] != x[k] {
			return 0
		}
	}
	slices.Sort(x[:n])
	return (x[(n-1)/2] + x[n/2]) / 2
}

// learnBlocks is how long the baseline is learnt: three weeks.
const learnBlocks = 21 * 4

// learn adds a block to the baseline of a channel that is sound.
func (e *Engine) learn(k int, p *picture) {
	ch := &e.s.Ch[k]
	if ch.QuietN < learnBlocks && e.s.Hiss.Over == 0 {
		ch.QuietN++
		ch.Quiet += (float32(ch.Sigma) - ch.Quiet) / ch.QuietN
	}
	if e.s.Copper.Blocks > learnBlocks {
		return
	}
	u := p.u[k]
	ch.Fit.add(p.f, u+ch.line(p.f)-p.shared*ch.Base)
	ch.ScaleN = min(ch.ScaleN+1, 40)
	if l := ch.level(8); !math.IsNaN(l) {
		ch.Scale += (float32(math.Abs(u-l)) - ch.Scale) / ch.ScaleN
	}
	if e.s.Copper.Blocks <= spikeLearn {
		ch.Spike.Usual = max(ch.Spike.Usual, ch.Spike.Sure+ch.Spike.Maybe)
	}
	if ch.UN >= 8 {
		ch.Calm = max(ch.Calm, float32(ch.Swing.size()))
	}
}

// fade lets the counts of excursions age by one block.
func (e *Engine) fade() {
	for k := range e.m.n {
		e.s.Ch[k].Spike.fade()
	}
	e.s.Sensor.Bad *= spikeBlock
	e.s.Sensor.Noisy *= spikeBlock
	e.fadeOdds()
}

// spikeBlock is what a block leaves of a count.
var spikeBlock = float32(math.Exp(-float64(blockS) / spikeFade))

func (s *spikeState) fade() {
	s.Plain = s.Plain && s.Sure > plainLeft
	s.Sure, s.Maybe, s.Down, s.Slow, s.Fast = s.Sure*spikeBlock, s.Maybe*spikeBlock, s.Down*spikeBlock, s.Slow*spikeBlock, s.Fast*spikeBlock*spikeBlock*spikeBlock*spikeBlock
}

// judgeReading takes a complete block of a loop that reports no lead.
func (e *Engine) judgeReading(out []finding.Finding) []finding.Finding {
	b, cu := &e.s.Block, &e.s.Copper
	p := picture{at: (b.Index + 1) * blockS, t: median32(b.T[:b.N])}
	if math.IsNaN(p.t) {
		return out
	}
	push(&cu.Temp, p.t)
	cu.Blocks++
	p.blocks = cu.Blocks
	return e.decide(&p, out)
}
