package diagnostics

import (
	"math"
	"time"

	"ohmdrift/diagnostics/uncertainty"
)

// budget collects what the imbalance is uncertain by, in Ω.
func (e *estimator) budget(est *estimate, b *uncertainty.Budget) {
	for i, c := range est.inputs {
		b.Rect(math.Abs(c) * float64(e.accuracy))
		b.Rect(math.Abs(est.reported[i]) * float64(e.step) / 2)
	}
	b.Rect(e.gain * math.Abs(float64(est.gained)))
	b.Rect(math.Abs(est.offset) * float64(e.offset))
	for _, a := range est.assume {
		b.Rect(a)
	}
}

const (
	// accuracyHolds is how long a data sheet's accuracy is taken to hold: its limit
	// covers the drift of one year (common practice).
	accuracyHolds = 365 * 24 * time.Hour
)

// independent is how far two values within ±a can be apart, as a limit of the
// same standard uncertainty: the difference of two independent rectangles.
var independent = math.Sqrt2

// drifted returns which part of the accuracy limit can have changed since a
// baseline of this age: what the device does wrong today it did wrong then, so a
// fresh baseline cancels it. The change grows by one limit a year until the two
// values are independent. A baseline without a time is old.
func drifted(at, now time.Time) float64 {
	if at.IsZero() || now.IsZero() {
		return independent
	}
	age := float64(now.Sub(at)) / float64(accuracyHolds)
	return min(math.Abs(age), independent)
}

// changeBudget collects what the change of the imbalance since the baseline is
// uncertain by, in Ω: drift of the device, rounding then and now, and where an
// assumption has become doubtful only now, that.
func (e *estimator) changeBudget(est *estimate, base *baseline, now time.Time, b *uncertainty.Budget) {
	part := drifted(base.at, now)
	for i, c := range est.inputs {
		b.Rect(part * math.Abs(c) * float64(e.accuracy))
		b.Rect(math.Abs(est.reported[i]) * float64(e.step) / 2)
		b.Rect(math.Abs(base.estimate.reported[i]) * float64(e.step) / 2)
	}
	b.Rect(e.gain * math.Abs(float64(est.gained-base.estimate.gained)))
	b.Rect(part * math.Abs(est.offset) * float64(e.offset))
	if est.doubtful != base.estimate.doubtful {
		for _, a := range est.assume {
			b.Rect(a)
		}
	}
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
