package diagnostics

import (
	"math"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

// budget collects what the imbalance is uncertain by, in Ω.
func (e *estimator) budget(est *estimate, b *uncertainty.Budget) {
	accuracy := e.accuracyOf(est)
	for i, c := range est.inputs {
		b.Rect(math.Abs(c) * accuracy)
		b.Rect(math.Abs(est.reported[i]) * float64(e.step) / 2)
	}
	b.Rect(e.gain * math.Abs(float64(est.gained)))
	b.Rect(math.Abs(est.offset) * float64(e.offset))
	for _, a := range est.assume {
		b.Rect(a)
	}
}

// accuracyOf returns the limit of one independent input in Ω. What is stated
// for a lead that the device computed from pairs is less than that of a pair.
func (e *estimator) accuracyOf(est *estimate) float64 {
	if est.asPairs {
		return float64(e.accuracy) / pairReading
	}
	return float64(e.accuracy)
}

// accuracyHolds is how long a data sheet's accuracy is taken to hold: its limit
// covers the drift of one year (common practice).
const accuracyHolds = 365 * 24 * time.Hour

// drifted returns which part of the accuracy limit drifts within the age of a
// baseline. What the device does wrong has a lasting part, which a baseline
// cancels, and a part that drifts; within a year that takes over the whole limit,
// so that then and now are two independent errors. A baseline without a time is
// old.
func drifted(at, now time.Time) float64 {
	if at.IsZero() || now.IsZero() {
		return 1
	}
	return min(math.Abs(float64(now.Sub(at))/float64(accuracyHolds)), 1)
}

// change returns how the imbalance has changed since the baseline, and in b, in
// Ω, what that is uncertain by: drift of the device, rounding then and now, and
// what had to be assumed of leads that are not seen. Most assumptions cancel:
// what a lead differs from its cable by today it differed by then.
func (e *estimator) change(est *estimate, base *baseline, now time.Time, b *uncertainty.Budget) quantity.Ohm {
	moved := est.value - base.estimate.value
	diff := *est
	diff.assume = [5]float64{}
	part := drifted(base.at, now)
	switch {
	case e.exact || e.method == wiring.DeviceCorrected:
	case e.reports == wiring.PairsOnly:
		moved = e.changeOfTwo(est, base, &diff, part)
	case e.reports == wiring.LoopsOnly:
		moved = e.changeOfLoops(est, base, &diff, part)
	}
	accuracy := e.accuracyOf(est) * part
	for i, c := range diff.inputs {
		for range 2 { // then and now
			b.Rect(math.Abs(c) * accuracy)
			b.Rect(math.Abs(diff.reported[i]) * float64(e.step) / 2)
		}
	}
	b.Rect(e.gain * math.Abs(float64(moved)))
	for range 2 {
		b.Rect(part * math.Abs(diff.offset) * float64(e.offset))
	}
	for _, a := range diff.assume {
		b.Rect(a)
	}
	return moved
}

// changeOfTwo: b1 and b2 are seen to move; a1 is taken to follow the copper that
// moves them alike, not the contact that moves one of them. Copper moves by the
// doubt of a cable at most, and the leads of one cable differ in that by their
// spread.
func (e *estimator) changeOfTwo(est *estimate, base *baseline, diff *estimate, part float64) quantity.Ohm {
	b1 := est.leads[measure.B1] - base.estimate.leads[measure.B1]
	b2 := est.leads[measure.B2] - base.estimate.leads[measure.B2]
	a1, _ := e.third(diff, b1, b2, 2*e.step+quantity.Ohm(3*pairReading*part*e.accuracyOf(est)))
	lead := math.Abs(float64(est.leads[measure.B1]+est.leads[measure.B2])) / 2
	diff.assume[0] = math.Abs(e.coef[measure.A1]) * e.spread * CableDoubt * lead
	return quantity.Ohm(e.coef[measure.A1])*a1 + quantity.Ohm(e.coef[measure.B1])*b1 + quantity.Ohm(e.coef[measure.B2])*b2
}

// changeOfLoops: a loop that has grown did so by copper, which the other leads
// follow, or by a contact on one of its two leads. For three wires the imbalance
// has moved by anything between nothing and the whole growth of the lead that
// counts.
func (e *estimator) changeOfLoops(est *estimate, base *baseline, diff *estimate, part float64) quantity.Ohm {
	growB := est.loopB - base.estimate.loopB
	diff.inputs, diff.reported = [measure.PairCount]float64{}, [measure.PairCount]float64{}
	unsure := part * float64(e.accuracy) * math.Sqrt(2.0/3) // the growth itself is seen through the device
	if e.method == wiring.FourWireLoop {
		growA := est.loopA - base.estimate.loopA
		diff.assume[0], diff.assume[1] = math.Hypot(float64(growA), unsure), math.Hypot(float64(growB), unsure)
		return 0
	}
	most := math.Max(math.Abs(e.coef[measure.B1]), math.Abs(e.coef[measure.B2])) // 1, or ½ for half the loop
	diff.inputs[0], diff.reported[0], diff.offset = most/2, most/2, most/2
	diff.assume[0] = most / 2 * math.Hypot(float64(growB), unsure)
	return quantity.Ohm(-most/2) * growB
}

// readingBudget adds what the corrected reading is uncertain by besides its
// imbalance, in °C at a slope.
func (l *Loop) readingBudget(slope float64, b *uncertainty.Budget) {
	acc := &l.spec.Accuracy
	b.Rect(float64(acc.Sensor) / slope)
	b.Rect(float64(acc.SensorRes) / 2 / slope)
	if positive(acc.Current) {
		b.Rect(float64(acc.EMF) / float64(acc.Current) / slope)
	}
	b.Rect(float64(acc.SelfHeating))
	b.Rect(float64(acc.Instrument))
}
