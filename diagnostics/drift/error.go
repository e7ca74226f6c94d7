package drift

import "math"

// errorState follows the reading error that the leads cause.
type errorState struct {
	Hour    int64      // time / hourS of the running hour
	X       [6]float32 // °C, its slots
	N       uint8
	Last    float64 // median of the last full hour, °C
	At      int64   // its end, s
	Known   bool
	Smooth  float64 // °C, over about half a day
	SmoothN uint16
}

// account adds a slot: v are channel values in Ω, f the copper factor, t the
// reading in °C.
func (e *Engine) account(v *[channels]float64, f, t float64) {
	s := &e.s.Error
	x := e.errorOf(v, f, t)
	if math.IsNaN(x) {
		return
	}
	if h := e.s.Slot.Index * slotS / hourS; h != s.Hour {
		s.close()
		s.Hour = h
	}
	if s.N < uint8(len(s.X)) {
		s.X[s.N] = float32(x)
		s.N++
	}
}

func (s *errorState) close() {
	if s.N > 0 {
		s.Last, s.At, s.Known = middle(s.X[:s.N]), (s.Hour+1)*hourS, true
		s.SmoothN = min(s.SmoothN+1, 12)
		s.Smooth += (s.Last - s.Smooth) / float64(s.SmoothN)
	}
	s.N = 0
}

// errorOf returns the reading error of one set of values, °C; NaN where the
// leads that matter are not reported.
func (e *Engine) errorOf(v *[channels]float64, f, t float64) float64 {
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
	return sum / e.m.slope(t)
}
