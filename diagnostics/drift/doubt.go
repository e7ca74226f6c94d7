package drift

import (
	"math"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

// What is assumed of a transmitter whose data sheet is silent, and what the
// baseline itself may do.
const (
	inputOhm    = 0.002  // limit of each lead value after self-calibration, Ω; common practice
	homeDrift   = 0.0005 // standard uncertainty of a lead input over weeks, Ω; common practice
	spreadShare = 0.05   // of the lead: what the single lead may differ by where it is not reported (unlabelled cable, common practice)
)

// expanded returns the expanded uncertainty of the reading error, °C, at the
// reading t: lead values, resolution, drift of the baseline, noise, EMF.
func (e *Engine) expanded(t float64) float64 {
	sp := e.m.spec
	a := &sp.Accuracy
	var b uncertainty.Budget
	sens := wiring.Sensitivities(sp.Method)
	for k := range e.m.n {
		c := sens[e.m.ch[k].lead]
		if c == 0 {
			continue
		}
		lead := float64(a.Lead)
		if math.IsNaN(lead) || lead <= 0 {
			lead = inputOhm
		}
		b.Rect(math.Abs(c) * lead)
		b.Rect(math.Abs(c) * max(float64(a.LeadResolution), float64(e.s.Grid.Step)) / 2)
		b.Normal(math.Abs(c) * homeDrift)
		b.Normal(math.Abs(c) * e.s.Ch[k].Sigma / 2) // median of six values
	}
	if sp.Reports == wiring.PairsOnly && e.m.n > 0 {
		b.Rect(math.Abs(sens[measure.A1]) * spreadShare * e.s.Ch[0].Base)
	}
	b.Rect(float64(a.Gain) * math.Abs(e.s.Error.Last) * e.m.slope(t))
	b.Rect(float64(a.EMF) / float64(a.Current))
	return b.Expanded() / e.m.slope(t)
}

// overLimit returns the probability that the error that counts is over the
// limit on its side; NaN without a limit or an error.
func (e *Engine) overLimit(u float64) float64 {
	s := &e.s.Error
	sp := e.m.spec
	if !s.Known || e.leadLimited() {
		return math.NaN()
	}
	x := s.Last
	if sp.Calibrated == diagnostics.LeadsIn {
		x -= s.Home
	}
	hi := uncertainty.PAbove(x, u, float64(sp.LimitHigh))
	lo := uncertainty.PAbove(-x, u, -float64(sp.LimitLow))
	if math.IsNaN(hi) {
		return lo
	}
	if math.IsNaN(lo) {
		return hi
	}
	return max(hi, lo)
}

// needed is the probability from which the loop's decision rule calls an error
// over its limit.
func (e *Engine) needed() float64 {
	switch e.m.spec.Rule {
	case diagnostics.Certain:
		return 0.95
	case diagnostics.Possible:
		return 0.05
	}
	return 0.5
}

// grade lifts a severity to out-of-spec while the error is over its limit, now,
// by the hour or for 5 % of the last day.
func (e *Engine) grade(s finding.Severity, p float64) finding.Severity {
	if s == finding.Maintenance && (e.s.Beyond || p >= e.needed() || e.shareNow() >= 1) {
		return finding.OutOfSpec
	}
	return s
}

// shareNow returns the error of yesterday as a share of the limit, the worse
// side; 0 where it is not known.
func (e *Engine) shareNow() float64 {
	s := &e.s.Error
	x := max(0, float64(s.Hi[days-1]))
	if l := float64(s.Lo[days-1]); (l > x || math.IsNaN(x)) && (!e.fourWire() || e.s.Found[aboutContact].kind() == finding.ThermalEMF) {
		x = l
	}
	if math.IsNaN(x) {
		return 0
	}
	return x
}
