package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Where a lead value stops being one, Ω. The longest thin cable of a plant has
// some 10 Ω, a corroded contact reaches ohms (facts of the trade); a register
// at its end stands at 300 Ω and more.
const openOhm = 200

// shortNoise is how far below zero noise takes the value of a shorted lead, Ω. An
// exact zero is a register that was never filled; hours of them are a short.
const shortNoise = 0.01

// look is what one sample shows, before it is judged.
type look struct {
	v      [channels]float64 // Ω; NaN = not usable
	absent [channels]bool
	high   [channels]bool // at or beyond openOhm
	zero   [channels]bool // exactly zero
	bad    int            // values that no lead can have
	valid  int
	sensor float64 // Ω; NaN = not usable
	read   bool    // it comes from the reading: no resistance was sent
	gone   bool    // sensor absent
	over   bool    // sensor at the upper end of its curve or beyond
	t      float64 // reading, °C; NaN = not known
}

// see sorts the values of a sample.
func (e *Engine) see(s *measure.Sample, l *look) {
	m := e.m
	for k := range m.n {
		x := m.value(s, k)
		l.v[k] = math.NaN()
		switch {
		case math.IsNaN(x):
			l.absent[k] = true
		case x >= openOhm:
			l.high[k] = true
			l.bad++
		case x == 0 || x < -shortNoise:
			l.zero[k] = x == 0
			l.bad++
		default:
			l.v[k] = x
			l.valid++
		}
	}
	l.sensor = float64(s.Sensor)
	l.t = float64(s.Reading)
	if math.IsNaN(l.sensor) && !math.IsNaN(l.t) {
		l.read, l.sensor = true, float64(m.spec.Sensor.Forward(quantity.DegC(l.t)))
	}
	switch x := l.sensor; {
	case math.IsNaN(x):
		l.gone = true
	case x >= m.high*(1-1e-4):
		l.over, l.sensor = true, math.NaN()
	case x < m.low:
		l.sensor = math.NaN()
	}
	if math.IsNaN(l.sensor) {
		l.t = math.NaN()
	} else if math.IsNaN(l.t) {
		l.t = float64(m.spec.Sensor.Inverse(quantity.Ohm(l.sensor), 0))
	}
}

// take uses one sample of good quality.
func (e *Engine) take(s *measure.Sample, fr *frame, nb *Neighbour, out []finding.Finding) []finding.Finding {
	var l look
	e.see(s, &l)
	st := &e.s
	out = e.watchOpen(&l, out)
	st.Grid.take(&l, e.m.n)
	st.Copper.hear(float64(s.DeviceTemp))
	e.gap(&l)
	calm := e.m.n == 0
	if e.m.n > 0 && st.Ch[0].Base > 0 {
		st.Hiss.take(&l, &st.Ch, e.m.n, float64(st.Grid.Step))
		if f, ok := e.factor(&l.v, fr, nb); ok {
			if st.Copper.Known && e.crossed(&l, fr, st.Copper.F) {
				st.Sensor.Storm = st.Last
			}
			st.Copper.F, st.Copper.Known = f, true
			if l.valid >= min(e.m.n, 3) { // of two, either may be what is wrong
				calm = e.excursions(&l, fr, f) && l.valid == e.m.n
				out = e.opened(out)
			}
		}
	}
	e.alone(&l, calm)
	e.pick(&l)
	return out
}

// pick keeps the sample for its slot when its turn has come.
func (e *Engine) pick(l *look) {
	sl := &e.s.Slot
	turn := float64(sl.N) * slotS / picks
	if sl.N >= picks || float64(e.s.Last%slotS) < turn {
		return
	}
	for k := range e.m.n {
		sl.R[k][sl.N] = float32(l.v[k])
		if l.zero[k] {
			sl.R[k][sl.N] = 0
		}
	}
	sl.T[sl.N] = float32(l.t)
	sl.N++
}
