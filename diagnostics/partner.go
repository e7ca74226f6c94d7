package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

// Reference is an independent value for the temperature at a loop's sensor.
type Reference struct {
	T        quantity.DegC
	Standard quantity.DeltaC // standard uncertainty
	Degrees  float64         // its degrees of freedom; +Inf or 0 = many
}

// PartnerReference takes the corrected reading of a second sensor at the same
// place. Its class is part of what it can be wrong by, unless it was calibrated
// to an expanded uncertainty of its own.
func PartnerReference(a *Assessment, calibrated quantity.DeltaC) Reference {
	var b uncertainty.Budget
	b.Normal(float64(a.UCorrected) / 1.96)
	if positive(calibrated) {
		b.Normal(float64(calibrated) / 2)
	} else {
		b.Rect(float64(a.Tolerance))
	}
	return Reference{T: a.Corrected, Standard: quantity.DeltaC(b.Standard())}
}

// Isothermal takes several sensors at a moment when all have one temperature
// (a stopped, well mixed vessel; a cold start): their mean, and the scatter that
// they show with its n − 1 degrees of freedom. It needs at least two.
func Isothermal(temps []quantity.DegC) (Reference, error) {
	var m mean
	for _, t := range temps {
		m.add(float64(t))
	}
	if m.n < 2 {
		return Reference{}, fmt.Errorf("isothermal moment: %d known temperatures, want at least 2", m.n)
	}
	sum := 0.0
	for _, t := range temps {
		if quantity.Known(t) {
			sum += (float64(t) - m.value()) * (float64(t) - m.value())
		}
	}
	n := float64(m.n)
	return Reference{T: quantity.DegC(m.value()), Standard: quantity.DeltaC(math.Sqrt(sum / (n - 1) / n)), Degrees: n - 1}, nil
}

// Hidden is a lead that a three-wire transmitter does not report, found by a
// reference.
type Hidden struct {
	Lead   measure.Lead
	Value  quantity.Ohm
	U      quantity.Ohm // expanded, about 95 %
	Reason Reason       // why there is no value
}

// HiddenLead finds a1 of a three-wire loop from a reference: what its sensor
// value has beyond the element at that temperature and the leads that are seen.
// The class of the sensor is part of U unless the loop was calibrated as a
// whole. A value below 0 by more than U is no lead: the reading is low for
// another reason, such as a leak across the element.
func (l *Loop) HiddenLead(s *measure.Sample, ref Reference) Hidden {
	h := Hidden{Lead: measure.A1, Value: quantity.Ohm(math.NaN()), U: quantity.Ohm(math.NaN())}
	a := l.Assess(s)
	element := l.spec.Sensor.Forward(ref.T)
	slope := float64(l.spec.Sensor.SlopeAt(ref.T))
	leads := a.Leads
	leads[measure.A1] = 0
	seen := wiring.Imbalance(l.spec.Method, leads, l.est.fixed)
	switch {
	case l.est.coef[measure.A1] == 0 || l.spec.Wires != 3:
		h.Reason = "only a three-wire loop hides lead a1"
		return h
	case l.spec.SensorIs == wiring.ElementOnly:
		h.Reason = "the device reports the element alone: no lead is in it"
		return h
	case !quantity.Known(element) || !quantity.Known(a.Sensor) || !quantity.Known(seen):
		if h.Reason = a.Reason; h.Reason == "" {
			h.Reason = reasonNoImbalance
		}
		return h
	}
	h.Value = (a.Sensor - element - seen) / quantity.Ohm(l.est.coef[measure.A1])
	b := l.hiddenBudget(&a, ref, slope)
	h.U = quantity.Ohm(b.Expanded())
	return h
}

// hiddenBudget collects in Ω what a hidden lead is uncertain by.
func (l *Loop) hiddenBudget(a *Assessment, ref Reference, slope float64) uncertainty.Budget {
	var b, reading uncertainty.Budget
	if ref.Degrees > 0 && !math.IsInf(ref.Degrees, 1) {
		b.Student(float64(ref.Standard)*slope, ref.Degrees)
	} else {
		b.Normal(float64(ref.Standard) * slope)
	}
	l.readingBudget(slope, &reading)
	b.Add(reading, slope)
	if l.spec.Calibrated == CalibratedNever || l.spec.Calibrated == CalibratedUnknown {
		b.Rect(float64(a.Tolerance) * slope)
	}
	c := l.est.coef
	sum, diff := c[measure.B1]+c[measure.B2], c[measure.B1]-c[measure.B2]
	if l.spec.Reports == wiring.PairsOnly { // correlated −1/3, as everywhere
		b.Rect(math.Abs(sum) / 2 * pairReading * float64(l.est.accuracy))
		b.Rect(math.Abs(diff) / 2 * pairReading * float64(l.est.accuracy))
		b.Rect(math.Abs(diff) / 2 * pairReading * float64(l.est.accuracy))
	} else {
		b.Rect(math.Abs(c[measure.B1]) * float64(l.est.accuracy))
		b.Rect(math.Abs(c[measure.B2]) * float64(l.est.accuracy))
	}
	b.Rect(math.Abs(c[measure.B1]) * float64(l.est.step) / 2)
	b.Rect(math.Abs(c[measure.B2]) * float64(l.est.step) / 2)
	return b
}
