package diagnostics

import (
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// Comparison is a loop's reading beside a reference at the same moment.
type Comparison struct {
	Reference quantity.DegC
	Indicated quantity.DegC
}

// Explanation is what makes a loop differ from a reference over a range of
// temperatures. Kind is empty where the comparisons do not tell.
type Explanation struct {
	Kind     finding.Kind    // curve-mismatch, insulation-leak, or imbalance for a lead
	Sensor   string          // the curve that the sensor really follows
	Leak     quantity.Ohm    // across the element
	Lead     quantity.Ohm    // left in the reading, signed
	Residual quantity.DeltaC // root mean square of what the explanation leaves
}

// What Explain needs before it speaks.
const (
	explainPoints = 3
	explainSpan   = 40.0 // K between coldest and hottest
	explainShare  = 0.4  // the best explanation leaves at most this part of the second best
)

// Explain tells a wrong curve, a leak and a lead apart by how the difference
// goes with temperature: a wrong curve's is proportional to it, a leak's grows
// with the square of the resistance and is always low, a lead's hardly changes.
func Explain(set rtd.Sensor, points []Comparison) Explanation {
	unknown := Explanation{Leak: quantity.Ohm(math.NaN()), Lead: quantity.Ohm(math.NaN()), Residual: quantity.DeltaC(math.NaN())}
	var known []Comparison
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if quantity.Known(set.Forward(p.Reference)) && quantity.Known(set.Forward(p.Indicated)) {
			known = append(known, p)
			low, high = min(low, float64(p.Reference)), max(high, float64(p.Reference))
		}
	}
	if len(known) < explainPoints || high-low < explainSpan {
		return unknown
	}
	best, second := unknown, math.Inf(1)
	for _, e := range candidates(set, known) {
		switch r := float64(e.Residual); {
		case math.IsNaN(r):
		case best.Kind == "" || r < float64(best.Residual):
			if best.Kind != "" {
				second = min(second, float64(best.Residual))
			}
			best = e
		default:
			second = min(second, r)
		}
	}
	if best.Kind == "" || float64(best.Residual) > explainShare*min(second, rms(known, func(c Comparison) quantity.DegC { return c.Reference })) {
		return unknown
	}
	return best
}

// candidates fits each explanation.
func candidates(set rtd.Sensor, points []Comparison) []Explanation {
	out := []Explanation{fitLead(set, points), fitLeak(set, points)}
	for _, other := range set.Lookalikes() {
		e := Explanation{Kind: finding.CurveMismatch, Sensor: other.Name(), Leak: quantity.Ohm(math.NaN()), Lead: quantity.Ohm(math.NaN())}
		e.Residual = quantity.DeltaC(rms(points, func(c Comparison) quantity.DegC {
			return set.Inverse(other.Forward(c.Reference), 0)
		}))
		out = append(out, e)
	}
	return out
}

func fitLead(set rtd.Sensor, points []Comparison) Explanation {
	var m mean
	for _, c := range points {
		m.add(float64(set.Forward(c.Indicated) - set.Forward(c.Reference)))
	}
	lead := quantity.Ohm(m.value())
	e := Explanation{Kind: finding.Imbalance, Lead: lead, Leak: quantity.Ohm(math.NaN())}
	e.Residual = quantity.DeltaC(rms(points, func(c Comparison) quantity.DegC {
		return set.Inverse(set.Forward(c.Reference)+lead, 0)
	}))
	return e
}

// fitLeak finds the conductance g across the element by least squares on
// 1/R_indicated = 1/R + g.
func fitLeak(set rtd.Sensor, points []Comparison) Explanation {
	var xy, xx float64
	for _, c := range points {
		r, shown := float64(set.Forward(c.Reference)), float64(set.Forward(c.Indicated))
		xy += (r - shown) * r * shown // R − R' = R·R'·g
		xx += r * shown * r * shown
	}
	g := xy / xx
	if !(g > 0) {
		return Explanation{Residual: quantity.DeltaC(math.NaN())}
	}
	e := Explanation{Kind: finding.InsulationLeak, Leak: quantity.Ohm(1 / g), Lead: quantity.Ohm(math.NaN())}
	e.Residual = quantity.DeltaC(rms(points, func(c Comparison) quantity.DegC {
		r := float64(set.Forward(c.Reference))
		return set.Inverse(quantity.Ohm(r/(1+r*g)), 0)
	}))
	return e
}

// rms of what a prediction of the indicated temperature leaves.
func rms(points []Comparison, predict func(Comparison) quantity.DegC) float64 {
	sum := 0.0
	for _, c := range points {
		d := float64(c.Indicated - predict(c))
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(points)))
}
