package diagnostics

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

// Assess says what one sample means: leads, imbalance, reading error with its
// uncertainty, and how they stand against tolerance and limit. It neither keeps
// the sample nor allocates. Where something is missing or impossible the numbers
// that need it are NaN, and Quality and Reason say why.
func (l *Loop) Assess(s *measure.Sample) Assessment {
	a := blank(s)
	if !s.Quality.Usable() {
		a.Reason = sampleReason(s.Quality)
		return a
	}
	var w working
	var reason Reason
	if w.estimate, reason = l.est.estimate(s); reason != "" {
		a.fault(qualityOf(reason), reason)
	}
	a.Leads, a.Closure, a.Imbalance, a.Basis = w.leads, w.closure, w.value, w.basis
	a.EMF = l.emf(s)
	a.Spread = l.spread(&w.leads)
	l.takeSensor(s, &w, &a)
	l.takeConnection(&w, &a)
	l.takeErrors(&w, &a)
	l.judge(&w, &a)
	return a
}

// working is what the steps of one Assess hand to each other.
type working struct {
	estimate
	ohms    uncertainty.Budget // of the imbalance
	change  uncertainty.Budget // of its change since the baseline
	wrong   bool               // the connection is not the configured one
	element quantity.DegC      // what the element alone says, where the device reports it; NaN otherwise
}

// blank returns an assessment that knows nothing.
func blank(s *measure.Sample) Assessment {
	n := math.NaN()
	o, d := quantity.Ohm(n), quantity.DeltaC(n)
	return Assessment{
		At: s.At, Quality: s.Quality, Leads: measure.NoLeads(), Sensor: o, Reading: quantity.DegC(n), Imbalance: o, Spread: n,
		Error: d, U: d, SinceCal: d, USinceCal: d, Corrected: quantity.DegC(n), UCorrected: d, Tolerance: d,
		ErrorLow: d, ErrorHigh: d, ShareTolerance: n, ShareLimit: n, POverLimit: n, Closure: o, EMF: quantity.Volt(n),
	}
}

// fault keeps the first reason.
func (a *Assessment) fault(q measure.Quality, r Reason) {
	if a.Reason == "" {
		a.Quality, a.Reason = q, r
	}
}

// qualityOf classes a reason of the leads.
func qualityOf(r Reason) measure.Quality {
	switch r {
	case reasonExtraLead:
		return measure.Configuration
	case reasonClosure, reasonLoopMismatch:
		return measure.Skewed
	case reasonNoLoopB, reasonNoLoops:
		return measure.Invalid
	}
	for _, m := range reasonMissing {
		if r == m {
			return measure.Invalid
		}
	}
	return measure.OutOfRange
}

// spread returns largest minus smallest lead over the nominal lead, or over
// the mean where no nominal is known; NaN with fewer than two leads.
func (l *Loop) spread(leads *measure.Leads) float64 {
	low, high, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0
	for _, o := range leads {
		if f := float64(o); !math.IsNaN(f) {
			low, high, sum, n = min(low, f), max(high, f), sum+f, n+1
		}
	}
	nominal := float64(l.est.cable)
	if nominal <= 0 && n > 0 {
		nominal = sum / float64(n)
	}
	if n < 2 || nominal <= 0 {
		return math.NaN()
	}
	return (high - low) / nominal
}

// emf returns the thermal EMF by its register, or from the sensor values at a
// current and its reverse.
func (l *Loop) emf(s *measure.Sample) quantity.Volt {
	acc := &l.spec.Accuracy
	if !quantity.Known(s.EMF) && quantity.Known(s.Sensor2) && acc.Current2 < 0 && positive(acc.Current) {
		return wiring.EMFOfReversed(s.Sensor, s.Sensor2, acc.Current)
	}
	return s.EMF
}

// takeSensor finds the resistance that the transmitter linearises and what it
// indicates.
func (l *Loop) takeSensor(s *measure.Sample, w *working, a *Assessment) {
	sensor := &l.spec.Sensor
	w.element = quantity.DegC(math.NaN())
	a.Reading = s.Reading
	if quantity.Known(s.Reading) && !quantity.Known(sensor.Forward(s.Reading)) {
		a.Reading = quantity.DegC(math.NaN())
		a.fault(measure.OutOfRange, reasonReadingRange)
	}
	switch f := float64(s.Sensor); {
	case math.IsNaN(f): // only the reading, if anything
		a.Sensor = sensor.Forward(a.Reading)
		if math.IsNaN(float64(s.Reading)) {
			a.fault(measure.Invalid, reasonNoSensor)
		}
		return
	case math.IsInf(f, 0) || f <= 0:
		a.Reading = quantity.DegC(math.NaN())
		a.fault(measure.OutOfRange, reasonBadSensor)
		return
	}
	if l.spec.SensorIs == wiring.ElementOnly {
		w.element = sensor.Inverse(s.Sensor, l.spec.Accuracy.SensorRes)
	}
	a.Sensor = l.afterMethod(s.Sensor, &w.estimate, a)
	shown := sensor.Inverse(a.Sensor, l.spec.Accuracy.SensorRes)
	if quantity.Known(a.Sensor) && !quantity.Known(shown) {
		a.Sensor, a.Reading = quantity.Ohm(math.NaN()), quantity.DegC(math.NaN())
		a.fault(measure.OutOfRange, reasonOutOfCurve)
		return
	}
	if math.IsNaN(float64(s.Reading)) {
		a.Reading = shown
	}
}

// afterMethod turns a sensor value into the element with the imbalance in it.
func (l *Loop) afterMethod(o quantity.Ohm, est *estimate, a *Assessment) quantity.Ohm {
	switch l.spec.SensorIs {
	case wiring.ElementOnly:
		return o + est.value
	case wiring.Raw: // a1 + element + b1 at the terminals, less what the method removes
		raw := wiring.Coefficients(wiring.TwoWire)
		for i, c := range l.est.coef {
			if d := raw[i] - c; d != 0 {
				o -= quantity.Ohm(d) * est.leads[i]
			}
		}
		o -= l.est.fixed
		if !quantity.Known(o) {
			a.fault(measure.Invalid, reasonRawNeedsLeads)
		}
	}
	return o
}

// sureConnection is the confidence from which a wrong connection stands in for
// the method that was configured: a jumper that the leads themselves show. Two
// leads under one terminal can also be one side of a cable that has grown.
const sureConnection = 0.8

// takeConnection puts the error of a false four-wire connection in the place of
// none: a jumper leaves lead resistance in the reading, and a reading error of 0
// beside such leads would look real.
func (l *Loop) takeConnection(w *working, a *Assessment) {
	if !l.est.exact || a.Reason != "" {
		return
	}
	v := l.falseFourWire(&w.leads)
	if v.Confidence < sureConnection || !quantity.Known(v.Error) {
		return
	}
	w.value, w.basis, w.wrong = v.Error, Inferred, true
	a.Imbalance, a.Basis, a.Reason = v.Error, Inferred, reasonNotFourWire
}

// takeErrors computes the error from the leads alone, and since calibration.
func (l *Loop) takeErrors(w *working, a *Assessment) {
	l.est.budget(&w.estimate, &w.ohms)
	if w.wrong { // the lead in the reading is told from its neighbours
		w.ohms.Rect(l.est.spread*float64(w.value) + float64(l.est.accuracy))
	}
	a.Error, a.U = l.inDegrees(a, w.value, &w.ohms)
	if quantity.Known(w.value) && quantity.Known(a.Sensor) && !quantity.Known(a.Error) {
		a.fault(measure.OutOfRange, reasonElementRange)
	}
	if quantity.Known(w.low) {
		a.ErrorLow, _ = l.inDegrees(a, w.low, &w.ohms)
		a.ErrorHigh, _ = l.inDegrees(a, w.high, &w.ohms)
	}
	switch {
	case l.est.exact && !w.wrong: // no lead has a part in the reading, now or then
		a.SinceCal, a.USinceCal = a.Error, a.U
	case l.baseline.set:
		moved := l.est.change(&w.estimate, &l.baseline, a.At, &w.change)
		a.SinceCal, a.USinceCal = l.inDegrees(a, moved, &w.change)
	}
}

// inDegrees returns what a resistance error does to the reading, in the exact
// form T(R) − T(R − δ), and the expanded uncertainty of that.
func (l *Loop) inDegrees(a *Assessment, o quantity.Ohm, ohms *uncertainty.Budget) (quantity.DeltaC, quantity.DeltaC) {
	n := quantity.DeltaC(math.NaN())
	if !quantity.Known(o) || !quantity.Known(a.Sensor) {
		return n, n
	}
	sensor, step := &l.spec.Sensor, l.spec.Accuracy.SensorRes
	truth := sensor.Inverse(a.Sensor-o, step)
	slope := float64(sensor.SlopeAt(truth))
	if math.IsNaN(slope) {
		return n, n
	}
	if o == 0 {
		return 0, quantity.DeltaC(ohms.Expanded() / slope)
	}
	return quantity.DeltaC(sensor.Inverse(a.Sensor, step) - truth), quantity.DeltaC(ohms.Expanded() / slope)
}
