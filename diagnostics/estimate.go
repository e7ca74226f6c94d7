package diagnostics

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Defaults for what a data sheet or an index does not state. Observe says where
// one of them is in use.
const (
	// DefaultLeadAccuracy is the limit ±a of a lead value: on the cautious side of
	// what inputs that measure leads state (common practice).
	DefaultLeadAccuracy quantity.Ohm = 0.02
	// DefaultSpread is the assumed difference between the largest and smallest
	// lead of one cable as a share of a lead: an unlabelled multi-core cable until
	// measured (common practice).
	DefaultSpread = 0.05
	// CableDoubt is how far a lead may be from its computed 20 °C value: ±20 % for
	// −30 to 70 °C of copper, and a few percent of its make.
	CableDoubt = 0.20
	// MaxLead is the largest resistance that counts as a lead; beyond it the lead
	// is open. 1 kΩ is 19 km of 22 AWG.
	MaxLead quantity.Ohm = 1000
)

// estimate is the imbalance as one sample shows it, with everything its
// uncertainty is made of.
type estimate struct {
	value quantity.Ohm
	basis Knowledge
	// inputs says how much each independent instrument value adds: leads, or
	// terminal pairs, or loops. reported says it for the values as they are
	// rounded. Both in Ω per Ω.
	inputs   [measure.PairCount]float64
	reported [measure.PairCount]float64
	assume   [5]float64   // half-widths in Ω of what is assumed rather than measured
	offset   float64      // how much a common offset of the lead values adds
	gained   quantity.Ohm // what a common gain error multiplies
	low      quantity.Ohm // hard bounds on value; NaN = not bounded
	high     quantity.Ohm
	leads    measure.Leads // as reported or from pairs, impossible ones absent
	closure  quantity.Ohm
	loopA    quantity.Ohm // as reported
	loopB    quantity.Ohm
	asPairs  bool // the device reports pairs: its accuracy is that of a pair, not of a lead
	doubtful bool // one lead has left its partner: the equal-cable assumption is in doubt
}

// estimator knows how a loop's imbalance follows from its samples.
type estimator struct {
	method   wiring.Method
	reports  wiring.Reports
	wires    int
	fixed    quantity.Ohm
	coef     [measure.LeadCount]float64
	sens     [measure.LeadCount]float64
	exact    bool         // the method leaves nothing and measures no lead for it
	accuracy quantity.Ohm // ±a of a lead value, the default filled in
	step     quantity.Ohm // resolution, 0 = none stated
	gain     float64
	offset   quantity.Ohm
	spread   float64
	cable    quantity.Ohm // expected lead at 20 °C, 0 = not known
}

func newEstimator(s *Spec) estimator {
	e := estimator{
		method: s.Method, reports: s.Reports, wires: s.Wires,
		coef: wiring.Coefficients(s.Method), sens: wiring.Sensitivities(s.Method),
		accuracy: s.Accuracy.Lead, step: quantity.Ohm(orZero(s.Accuracy.LeadResolution)),
		gain: orZero(s.Accuracy.Gain), offset: quantity.Ohm(orZero(s.Accuracy.Offset)),
		spread: s.Spread, cable: s.expectedLead(),
	}
	if s.Method == wiring.TwoWireFixed {
		e.fixed = s.Fixed
	}
	if !positive(e.accuracy) {
		e.accuracy = DefaultLeadAccuracy
	}
	if !positive(e.spread) {
		e.spread = DefaultSpread
	}
	e.exact = e.sens == [measure.LeadCount]float64{}
	return e
}

// estimate returns the imbalance of a sample. A reason says that a value it
// needs is missing or impossible; what can still be told is in the estimate.
func (e *estimator) estimate(s *measure.Sample) (estimate, Reason) {
	out := unknownEstimate()
	reason := e.takeLeads(s, &out)
	out.loopA, out.loopB = s.LoopA, s.LoopB
	switch {
	case reason == reasonExtraLead:
		out.leads = measure.NoLeads()
		return out, reason
	case reason == reasonLoopMismatch || reason == reasonClosure:
		return out, reason // the values contradict each other: none of them may make an error
	case e.exact:
		out.value, out.basis, out.gained = 0, Measured, 0
	case e.method == wiring.DeviceCorrected:
		e.corrected(&out)
	case e.reports == wiring.AllLeads:
		e.fromLeads(s, &out)
	case e.reports == wiring.PairsOnly:
		out.asPairs = e.fromPairs(s)
		e.fromTwoLeads(&out)
	case e.reports == wiring.LoopsOnly:
		e.fromLoops(s, &out)
	default:
		e.fromCable(&out)
	}
	return out, reason
}

func unknownEstimate() estimate {
	n := quantity.Ohm(math.NaN())
	return estimate{value: n, gained: n, low: n, high: n, closure: n, leads: measure.NoLeads()}
}

// corrected is a device that measures each lead and removes it: nothing
// remains but its own errors of a1 and b1.
func (e *estimator) corrected(out *estimate) {
	out.value, out.basis, out.gained = 0, Measured, 0
	for i, c := range e.sens {
		out.inputs[i], out.reported[i] = c, c
		out.offset += c
		if c != 0 && quantity.Known(out.leads[i]) {
			out.gained += quantity.Ohm(c) * out.leads[i]
		}
	}
}

// fromLeads is the plain case: every lead is known, by itself or from pairs.
func (e *estimator) fromLeads(s *measure.Sample, out *estimate) {
	out.gained = wiring.Imbalance(e.method, out.leads, 0)
	out.value = out.gained - e.fixed
	if !quantity.Known(out.value) {
		return
	}
	out.basis = Measured
	if e.fromPairs(s) {
		w := wiring.PairWeights(e.wires)
		for l, c := range e.coef {
			for p := range w[l] {
				out.inputs[p] += c * w[l][p]
			}
		}
		out.reported = out.inputs
		for _, x := range out.inputs {
			out.offset += x
		}
		return
	}
	for i, c := range e.coef {
		out.inputs[i], out.reported[i] = c, c
		out.offset += c
	}
}

// pairReading is the accuracy of one terminal pair when that of a lead computed
// from three-wire pairs is 1: u(lead) = 0.866 u(pair).
const pairReading = 1.1547005383792517 // 2/√3

// fromTwoLeads infers a1 from b1 and b2 on the assumption that the three leads
// are one cable: a1 lies between them, or, where one of them has left the other
// by more than the spread, near the smaller one, for contacts only add.
func (e *estimator) fromTwoLeads(out *estimate) {
	b1, b2 := out.leads[measure.B1], out.leads[measure.B2]
	if !quantity.Known(b1) || !quantity.Known(b2) {
		return
	}
	width := quantity.Ohm(e.spread) * max((b1+b2)/2, 0)
	a1, doubtful := e.third(out, b1, b2, width+quantity.Ohm(2*pairReading*e.accuracyOf(out)))
	out.doubtful = doubtful
	if doubtful {
		width = quantity.Ohm(e.spread) * max(min(b1, b2), 0)
	}
	out.assume[0] = math.Abs(e.coef[measure.A1]) * float64(width)
	out.basis = Inferred
	out.gained = quantity.Ohm(e.coef[measure.A1])*a1 + quantity.Ohm(e.coef[measure.B1])*b1 + quantity.Ohm(e.coef[measure.B2])*b2
	out.value = out.gained
	out.low = out.gained - quantity.Ohm(e.coef[measure.A1])*a1 // a1 cannot be below 0
}

// third returns what the third lead of a cable does when the other two do x and
// y and sound ones differ by at most usual, and notes in out how the combination
// hangs on x and y: by their mean, or by the smaller one alone.
func (e *estimator) third(out *estimate, x, y, usual quantity.Ohm) (third quantity.Ohm, doubtful bool) {
	c := e.coef
	third = (x + y) / 2
	switch {
	case x-y > usual:
		c[measure.B2] += c[measure.A1]
		third, doubtful = y+usual/2, true
	case y-x > usual:
		c[measure.B1] += c[measure.A1]
		third, doubtful = x+usual/2, true
	default:
		c[measure.B1] += c[measure.A1] / 2
		c[measure.B2] += c[measure.A1] / 2
	}
	if doubtful {
		out.assume[1] = math.Abs(e.coef[measure.A1]) * float64(usual) / 2
	}
	// b1 and b2 come from three pair readings and are correlated −1/3.
	sum, diff := c[measure.B1]+c[measure.B2], c[measure.B1]-c[measure.B2]
	out.inputs = [measure.PairCount]float64{0, sum / 2 * pairReading, diff / 2 * pairReading, -diff / 2 * pairReading}
	out.reported = [measure.PairCount]float64{c[measure.B1], c[measure.B2]}
	out.offset = sum
	return third, doubtful
}

// fromLoops infers from sums of leads. On four wires each side is assumed to
// halve; on three wires b1 and b2 are, unless the cable is known and the loop
// is larger: then the excess sits on either of them.
func (e *estimator) fromLoops(s *measure.Sample, out *estimate) {
	if e.method == wiring.FourWireLoop {
		e.fromFourWireLoops(s, out)
		return
	}
	if !e.soundLoop(s.LoopB) {
		return
	}
	half := s.LoopB / 2
	out.basis = Inferred
	out.low = -s.LoopB // b1 and b2 lie within 0 and their sum, a1 is not below 0
	if e.method == wiring.ThreeWireHalf {
		out.low = -half
	}
	split := math.Abs(e.coef[measure.B1] - e.coef[measure.B2]) // 1 where one of the two counts, 0 for half
	if e.cable > 0 && half > e.cable*(1+CableDoubt)+e.accuracy {
		excess := float64(s.LoopB - 2*e.cable)
		out.doubtful = true
		out.value = quantity.Ohm(-excess / 2)
		out.assume = [5]float64{float64(e.cable) * CableDoubt, split * excess / 2}
		out.inputs[0], out.reported[0], out.offset = 0.5, 0.5, 0.5 // against a computed a1
	} else {
		out.value = 0
		out.assume = [5]float64{e.spread * float64(half), split * e.spread * float64(half) / 2}
	}
	out.gained = out.value
}

func (e *estimator) fromFourWireLoops(s *measure.Sample, out *estimate) {
	if !e.soundLoop(s.LoopA) || !e.soundLoop(s.LoopB) {
		return
	}
	out.basis, out.value, out.gained = Inferred, 0, 0
	out.low, out.high = -(s.LoopA + s.LoopB), s.LoopA+s.LoopB
	out.assume = [5]float64{e.spread * float64(s.LoopA) / 2, e.spread * float64(s.LoopB) / 2}
}

func (e *estimator) soundLoop(o quantity.Ohm) bool {
	return quantity.Known(o) && o >= -(e.accuracy+e.step) && o <= 2*MaxLead
}

// fromCable takes every lead for what its cable should have: common doubt of
// its size and temperature, and half the spread of each.
func (e *estimator) fromCable(out *estimate) {
	if e.cable <= 0 {
		return
	}
	cable, sum := float64(e.cable), 0.0
	for l, c := range e.coef {
		sum += c
		out.assume[l] = math.Abs(c) * cable * e.spread / 2
	}
	out.basis = Inferred
	out.gained = quantity.Ohm(sum * cable)
	out.value = out.gained - e.fixed
	out.assume[measure.LeadCount] = math.Abs(sum) * cable * CableDoubt
}
