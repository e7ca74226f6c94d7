package drift

import "math"

// frame is what every value of a step is held against. It changes with blocks
// alone, and a step asks for it several times: a slot and a sample each for their
// copper factor and for what is left beside it.
type frame struct {
	a, b [channels]float64 // line of each channel
	gate [channels]float64 // Ω
	left [channels]float64 // below, a lead was bridged, Ω
	wide float64           // the narrowest gate as a share of its baseline: a lead that has become noisy must not open the gate for itself
}

// frame works out what this step is held against.
func (e *Engine) frame(fr *frame) {
	fr.wide = math.Inf(1)
	least := larger(1.5*float64(e.s.Grid.Step), gateOhm)
	for k := range e.m.n {
		c := &e.s.Ch[k]
		fr.a[k], fr.b[k] = c.Fit.line(steepest * c.Base)
		fr.gate[k] = larger(gateSigma*larger(c.Sigma, gateQuiet*float64(c.Quiet)), least)
		fr.left[k] = c.Base - lost(c.Base)
		fr.wide = smaller(fr.wide, fr.gate[k]/c.Base)
	}
}

// larger returns the larger of two numbers, neither of which is NaN: max looks for
// that and for signed zeros, and a step asks a dozen times.
func larger(x, y float64) float64 {
	if x > y {
		return x
	}
	return y
}

// smaller returns the smaller of two numbers, neither of which is NaN.
func smaller(x, y float64) float64 {
	if x < y {
		return x
	}
	return y
}

// part is one set of values taken apart: value = copper + usual + what is left.
type part struct {
	v     [channels]float64 // Ω; NaN = not usable
	f, t  float64           // copper factor; reading, °C
	bare  [channels]float64 // less the copper of the baseline, Ω
	usual [channels]float64 // what of that belongs to the channel, Ω
}

// part takes the values v apart at copper factor f.
func (e *Engine) part(fr *frame, v *[channels]float64, f, t float64, p *part) {
	p.v, p.f, p.t = *v, f, t
	for k := range e.m.n {
		c := &e.s.Ch[k]
		p.bare[k] = v[k] - f*c.Base
		p.usual[k] = fr.a[k] + fr.b[k]*(f-1) + float64(c.Season)
	}
}
