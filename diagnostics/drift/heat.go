package drift

import "math"

// A hot line or steam beside one core warms its copper and lets it cool again.
// That lead rises within tens of minutes, stays as quiet as ever on its plateau
// and falls back to where it was: an exponential on both sides. A contact opens
// between two polls, and what it shows while it is open scatters; one that
// follows the weather takes hours to rise. Slots in which a lead is warmed are
// left out of its block.

const (
	// heatFlank is the most of its height that a lead may move from one slot to
	// the next while it is warmed: a time constant of eleven minutes. Cores of
	// 1.5 mm² in their jacket have twenty and more; common practice.
	heatFlank = 0.6
	// heatTravel is the way up and down again as a share of the height, less
	// what noise travels: 2, and a small dip within the plateau.
	heatTravel = 2.3
	// heatSoon and heatGrown: after an hour and a half no more is left to rise
	// than with a time constant of an hour.
	heatSoon  = 9 // slots
	heatGrown = 1.35
	// heatFall is how long the fall from three quarters to one may take, in
	// slots: two hours. What follows the sun takes longer.
	heatFall = 12
	// heatLongest is how long a pulse may last, in slots: half a day. What stays
	// longer is a level like any other.
	heatLongest = 72
	// heatShare is the most that heat adds to a lead: 130 K.
	heatShare = 0.5
	// heatMoved is how far the process may move meanwhile, K: a voltage of two
	// metals rises and falls as softly as heat does, but with the process.
	heatMoved = 5
	// heatClear is how many standard deviations a pulse must stand out to have a
	// shape: at six a jump of all of it is told from one of 0.6 by 2.4 of them.
	heatClear = 6
	// heatNoise is the mean way between two values of noise 1: 2/√π.
	heatNoise = 1.13
	// heatStill is the weight of a slot in the level that pulses start from: an
	// hour and a half, for flanks are shorter and the day's swing is longer.
	heatStill = 0.1
)

// heatState follows the one lead that may be warmed.
type heatState struct {
	Still  [channels]float32 // residual outside of pulses, Ω
	Mask   uint64            // slots of the running block within pulses
	Start  int32             // slot of the running pulse; 0 = none
	K      uint8             // its channel
	From   uint8             // its first slot in the running block
	Cools  uint8             // slots for which it may still be cooling
	Warm   bool              // it was warmed or cooled in the running block
	Full   uint8             // slots from its start to where it was last near its height
	Height float32           // highest above Still, Ω
	Early  float32           // the same within heatSoon
	Jump   float32           // largest change between two slots
	Way    float32           // sum of all changes
	Prev   float32           // residual of the last slot
	T      float32           // reading before the pulse, smoothed as Still, °C
	Moved  float32           // most that it was away from there since, K
}

// warmed adds slot i of the running block.
func (e *Engine) warmed(p *part, i uint8) {
	h := &e.s.Heat
	if e.m.n < 2 {
		return
	}
	t, g := p.t, e.heatGate()
	var x [channels]float64
	out, away := -1, 0
	for k := range e.m.n {
		c := &e.s.Ch[k]
		x[k] = p.bare[k] - (p.usual[k] + c.Track)
		d := x[k] - float64(h.Still[k])
		switch {
		case math.IsNaN(d), h.Start != 0 && k == int(h.K):
		case h.Start == 0 && d > g:
			out, away = k, away+1
		default:
			h.Still[k] += float32(heatStill * within(d, g))
		}
	}
	if h.Cools > 0 {
		h.Cools--
		h.Warm = true
	}
	if h.Start == 0 && t == t {
		if h.T == 0 {
			h.T = float32(t)
		}
		h.T += float32(heatStill * (t - float64(h.T)))
	}
	switch {
	case h.Start != 0:
		e.heatOn(x[h.K], t, i)
	case away == 1:
		if h.Mask != 0 && h.K != uint8(out) {
			h.Mask = 0
		}
		d := float32(x[out]) - h.Still[out]
		h.Start, h.K, h.From, h.Mask = int32(e.s.Slot.Index), uint8(out), i, h.Mask|1<<i
		h.Height, h.Early, h.Jump, h.Way, h.Prev, h.Moved, h.Full = d, d, d, d, float32(x[out]), 0, 0
		e.heatProcess(t)
	case away > 1: // what takes several leads at once is no heat on one
		for k := range e.m.n {
			if d := x[k] - float64(h.Still[k]); d == d {
				h.Still[k] += float32(heatStill * d)
			}
		}
	}
}

// heatProcess follows how far the process is from where it was before the pulse.
func (e *Engine) heatProcess(t float64) {
	h := &e.s.Heat
	if m := float32(math.Abs(t - float64(h.T))); m > h.Moved {
		h.Moved = m
	}
}

// heatSigma is the standard deviation of single values, Ω: that of the quietest
// input, for a loose contact must not excuse itself by its own noise.
func (e *Engine) heatSigma() float64 {
	s := math.Inf(1)
	for k := range e.m.n {
		s = smaller(s, e.s.Ch[k].Sigma)
	}
	return s
}

// heatGate is how far a slot must stand out to begin a pulse, Ω.
func (e *Engine) heatGate() float64 {
	return larger(larger(3.5*e.heatSigma(), 1.5*float64(e.s.Grid.Step)), 0.003)
}

// heatOn adds a slot to the running pulse.
func (e *Engine) heatOn(x, t float64, i uint8) {
	h := &e.s.Heat
	if math.IsNaN(x) {
		return
	}
	n := e.s.Slot.Index - int64(h.Start)
	d, step := float32(x)-h.Still[h.K], float32(math.Abs(x-float64(h.Prev)))
	h.Jump, h.Way, h.Prev = max(h.Jump, step), h.Way+step, float32(x)
	h.Height = max(h.Height, d)
	if d > 0.75*h.Height {
		h.Full = uint8(min(n, heatLongest))
	}
	if n < heatSoon {
		h.Early = h.Height
	}
	e.heatProcess(t)
	over := d < max(h.Height/4, min(float32(e.heatGate()), h.Height/2))
	if !over && n <= heatLongest {
		h.Mask |= 1 << i
		return
	}
	if n > heatLongest || !e.heatLike() {
		h.Mask &^= ^uint64(0) << h.From
	} else {
		h.Warm, h.Cools = true, heatFall
	}
	if !over {
		h.Still[h.K] = float32(x)
	}
	h.Start = 0
}

// heatLike tells whether the running pulse has the shape of heat so far.
func (e *Engine) heatLike() bool {
	h := &e.s.Heat
	c := &e.s.Ch[h.K]
	s := math.Hypot(e.heatSigma(), 0.3*float64(e.s.Grid.Step)) // of rounding: 1/√12
	n, top := float64(e.s.Slot.Index-int64(h.Start)), float64(h.Height)
	return n-float64(h.Full) <= heatFall && top > heatClear*s && top < heatShare*c.Base && h.Height < heatGrown*h.Early && h.Moved < heatMoved &&
		float64(h.Jump) < heatFlank*top+1.5*s && float64(h.Way) < heatTravel*top+1.1*heatNoise*s*n
}

// heatBlock ends a block: a pulse that goes on is judged by what it has shown,
// one that has just begun has shown nothing.
func (e *Engine) heatBlock() {
	h := &e.s.Heat
	if h.Start == 0 {
		return
	}
	n, like := e.s.Slot.Index-int64(h.Start), e.heatLike()
	h.Warm = h.Warm || like && n >= 3
	if n < heatSoon || !like {
		h.Mask &^= ^uint64(0) << h.From
	}
}

// warming tells whether channel k is on its way up or down with heat: what turns
// there has not left a calm value.
func (e *Engine) warming(k int) bool {
	h := &e.s.Heat
	return h.Start != 0 && int(h.K) == k && e.s.Slot.Index-int64(h.Start) >= 3 && e.heatLike()
}

// heated returns the slots of the running block in which channel k was warmed.
// While the baseline is learnt nothing is left out of it.
func (e *Engine) heated(k int) uint64 {
	h := &e.s.Heat
	if int(h.K) != k || e.s.Copper.Blocks <= learnBlocks {
		return 0
	}
	return h.Mask
}
