package drift

import (
	"math"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

const (
	days     = 36 // daily values kept: five weeks
	tops     = 8  // 5 % of a day's 144 slots
	topShare = 0.05
)

// errorState follows the reading error that the leads cause: by the hour for
// estimates, by the day for the forecast. A loop has left its limit when its
// error is beyond it for 5 % of a day, so a day counts with the error that 5 %
// of its slots exceed.
type errorState struct {
	Hour  int64      // time / hourS of the running hour
	X     [6]float32 // °C, its slots
	N     uint8
	Last  float64 // median of the last full hour, °C
	At    int64   // its end, s
	Known bool
	Home  float64 // error in the baseline, °C
	HomeN uint16  // hours it comes from

	Day  int64         // time / dayS of the running day
	DayN uint16        // its slots
	Top  [tops]float32 // largest shares of the high limit, largest first
	Low  [tops]float32 // largest shares of the low limit
	Hi   [days]float32 // share of the high limit exceeded in 5 % of a day, newest last; NaN = unknown day
	Lo   [days]float32
	Kept uint8 // days kept

	Usual [2]float32 // Hi and Lo of a day in the baseline
	Over  [2]float32 // share of slots beyond the high and the low limit, fading with spikeFade
}

// account adds a slot with the reading error x.
func (e *Engine) account(p *part, x float64) {
	s := &e.s.Error
	if !math.IsNaN(x) && s.N < uint8(len(s.X)) {
		s.X[s.N] = float32(x)
		s.N++
	}
	hi, lo := e.shares(&p.v, x)
	if e.fourWire() {
		lo = e.voltageShare(p)
	}
	s.DayN++
	insert(&s.Top, hi)
	insert(&s.Low, lo)
}

// clockwork closes the hour and the day when time has passed their end.
func (e *Engine) clockwork(t int64) {
	s := &e.s.Error
	if h := t / hourS; h != s.Hour {
		e.closeHour()
		s.Hour = h
	}
	if d := t / dayS; d != s.Day {
		learn := s.Day != 0 && e.s.Copper.Blocks <= learnBlocks && e.s.Found[aboutContact].Kind == 0
		s.closeDay(d)
		if learn {
			s.usual()
		}
	}
}

// usual learns from the newest day what a day of the baseline is: the error that
// the leads have anyway, and what noise and rounding put on top of it.
func (s *errorState) usual() {
	for side, y := range [2]float32{s.Hi[days-1], s.Lo[days-1]} {
		switch {
		case y != y:
		case s.Usual[side] == 0:
			s.Usual[side] = y
		default:
			s.Usual[side] += (y - s.Usual[side]) / 7 // a week: the baseline has three
		}
	}
}

// shares returns the error as shares of the limits on both sides, or the largest
// lead as a share of the lead limit where no error can arise.
func (e *Engine) shares(v *[channels]float64, x float64) (hi, lo float64) {
	sp := e.m.spec
	if e.leadLimited() {
		hi = math.NaN()
		for k := range e.m.n {
			if r := v[k] / float64(sp.LeadLimit); !(r <= hi) {
				hi = r
			}
		}
		return hi, math.NaN()
	}
	if sp.Calibrated == diagnostics.LeadsIn {
		x -= e.s.Error.Home
	}
	return x / float64(sp.LimitHigh), x / float64(sp.LimitLow)
}

// fourWire tells whether the method takes every lead out of the reading.
func (e *Engine) fourWire() bool { return e.m.none }

// voltageShare returns what the largest residual of a lead would be of the error
// limit if it were a voltage: from a four-wire reading leads drop out, a voltage
// in a potential lead does not.
func (e *Engine) voltageShare(p *part) float64 {
	x := 0.0
	for k := range e.m.n {
		if r := math.Abs(p.bare[k] - p.usual[k]); r > x {
			x = r
		}
	}
	return x / (min(float64(e.m.spec.LimitHigh), -float64(e.m.spec.LimitLow)) * e.m.slope(p.t))
}

// leadLimited tells whether the lead resistance is what limits the loop: a
// four-wire connection has no error from its leads.
func (e *Engine) leadLimited() bool {
	return e.fourWire() && e.m.spec.LeadLimit > 0
}

func insert(top *[tops]float32, x float64) {
	v := float32(x)
	if !(v > top[tops-1]) { // most slots of a day are none of its largest
		return
	}
	for i := range top {
		if v > top[i] {
			top[i], v = v, top[i]
		}
	}
}

func (e *Engine) closeHour() {
	s := &e.s.Error
	if s.N > 0 {
		s.Last, s.At, s.Known = median32(s.X[:s.N]), (s.Hour+1)*hourS, true
		if e.s.Copper.Blocks <= learnBlocks && e.s.Found[aboutContact].Kind == 0 {
			s.HomeN = min(s.HomeN+1, 500)
			s.Home += (s.Last - s.Home) / float64(s.HomeN)
		}
	}
	s.N = 0
}

// closeDay keeps the finished day; days without values stay unknown.
func (s *errorState) closeDay(d int64) {
	nan := float32(math.NaN())
	if s.Day != 0 {
		hi, lo := nan, nan
		if i := int(math.Ceil(topShare*float64(s.DayN))) - 1; s.DayN >= 6 && i < tops {
			hi, lo = s.Top[i], s.Low[i]
			s.beyond()
		}
		s.keep(hi, lo)
		for range min(d-s.Day-1, days) {
			s.keep(nan, nan)
		}
	}
	s.Day, s.DayN = d, 0
	for i := range tops {
		s.Top[i], s.Low[i] = -1e9, -1e9
	}
}

// beyond books how much of the finished day was beyond a limit: up to the share
// at which the limit counts as left.
func (s *errorState) beyond() {
	const weight = 1 - 0.904837 // e^(−1/10): a day of spikeFade
	for side, top := range [2]*[tops]float32{&s.Top, &s.Low} {
		n := 0
		for n < tops && top[n] >= 1 {
			n++
		}
		s.Over[side] += (float32(n)/float32(s.DayN) - s.Over[side]) * weight
	}
}

func (s *errorState) keep(hi, lo float32) {
	if hi < -1e8 {
		hi = float32(math.NaN())
	}
	if lo < -1e8 {
		lo = float32(math.NaN())
	}
	copy(s.Hi[:], s.Hi[1:])
	copy(s.Lo[:], s.Lo[1:])
	s.Hi[days-1], s.Lo[days-1] = hi, lo
	s.Kept = min(s.Kept+1, days)
}

// seesError tells whether the lead values give the reading error.
func (e *Engine) seesError() bool { return e.m.sees }

// errorOf returns the reading error of one set of values, °C; NaN where the
// leads that matter are not reported. From pairs the single lead is taken as the
// mean of what the other two would be without their contact part.
func (e *Engine) errorOf(v *[channels]float64, f, t float64) float64 {
	sp := e.m.spec
	if sp.Reports == wiring.ReadingOnly || e.m.n == 0 {
		return math.NaN()
	}
	sum := 0.0
	for k := range e.m.n {
		c := e.m.ch[k].coef
		if c == 0 {
			continue
		}
		if math.IsNaN(v[k]) || math.IsNaN(c) {
			return math.NaN()
		}
		sum += c * v[k]
	}
	if sp.Reports == wiring.PairsOnly {
		a, n := 0.0, 0.0
		for k := range e.m.n {
			a, n = a+f*e.s.Ch[k].Base, n+1
		}
		sum += wiring.Coefficients(sp.Method)[measure.A1] * a / n
	}
	if sp.Method == wiring.TwoWireFixed {
		sum -= float64(sp.Fixed)
	}
	return sum / e.m.slope(t)
}
