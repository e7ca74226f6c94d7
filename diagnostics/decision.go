package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
)

var ruleNames = [...]string{"probable", "certain", "possible"}

// String returns probable, certain or possible.
func (r DecisionRule) String() string { return ruleNames[min(int(r), len(ruleNames)-1)] }

// ParseDecisionRule reads a rule; an empty text is probable.
func ParseDecisionRule(s string) (DecisionRule, error) {
	if s == "" {
		return Probable, nil
	}
	for i, n := range ruleNames {
		if n == s {
			return DecisionRule(i), nil
		}
	}
	return Probable, fmt.Errorf("decision rule %q: want one of %v", s, ruleNames)
}

// Threshold returns the probability at and above which an error counts as over
// its limit.
func (r DecisionRule) Threshold() float64 {
	switch r {
	case Certain:
		return 0.95
	case Possible:
		return 0.05
	}
	return 0.5
}

var calibratedNames = [...]string{"unknown", "never", "leads-out", "leads-in"}

// String returns unknown, never, leads-out or leads-in.
func (c Calibrated) String() string { return calibratedNames[min(int(c), len(calibratedNames)-1)] }

// ParseCalibrated reads how a loop was calibrated; an empty text is unknown.
func ParseCalibrated(s string) (Calibrated, error) {
	if s == "" {
		return CalibratedUnknown, nil
	}
	for i, n := range calibratedNames {
		if n == s {
			return Calibrated(i), nil
		}
	}
	return CalibratedUnknown, fmt.Errorf("calibrated %q: want one of %v", s, calibratedNames)
}

// Counts returns the error that limit and forecast use, and its uncertainty:
// since calibration for a loop calibrated with its leads in circuit, absolute
// otherwise (also where it is not known how the loop was calibrated; then both
// are to be shown).
func (l *Loop) Counts(a *Assessment) (err, u quantity.DeltaC) {
	if l.spec.Calibrated == LeadsIn {
		return a.SinceCal, a.USinceCal
	}
	return a.Error, a.U
}

// judge corrects the reading and holds the error against tolerance and limit.
func (l *Loop) judge(w *working, a *Assessment) {
	err, u := l.Counts(a)
	l.correct(w, a, err)
	at := a.Corrected
	if !quantity.Known(at) {
		at = a.Reading
	}
	a.Tolerance, a.Class, _ = l.spec.Class.Tolerance(at, l.spec.Construction)
	a.ShareTolerance = math.Abs(float64(err)) / float64(a.Tolerance)
	if l.spec.Calibrated == LeadsIn && !l.baseline.set && !l.est.exact && a.Reason == "" {
		a.Reason = reasonNoBaseline // the values are good, only the error that counts is not known
	}
	l.judgeLimit(a, err, u)
}

// correct subtracts the error and collects the uncertainty of the result. The
// class of the sensor stands beside it, not in it. A device that reports the
// element alone has corrected already.
func (l *Loop) correct(w *working, a *Assessment, err quantity.DeltaC) {
	ohms := &w.ohms
	if l.spec.Calibrated == LeadsIn && !l.est.exact {
		ohms = &w.change
	}
	a.Corrected = a.Reading - quantity.DegC(err)
	if quantity.Known(w.element) {
		a.Corrected, ohms = w.element, &uncertainty.Budget{}
	}
	slope := float64(l.spec.Sensor.SlopeAt(a.Corrected))
	if math.IsNaN(slope) {
		a.Corrected = quantity.DegC(math.NaN())
		return
	}
	var b uncertainty.Budget
	b.Add(*ohms, 1/slope)
	l.readingBudget(slope, &b)
	a.UCorrected = quantity.DeltaC(b.Expanded())
}

// judgeLimit finds the probability that the error is over the limit of either
// side.
func (l *Loop) judgeLimit(a *Assessment, err, u quantity.DeltaC) {
	s := &l.spec
	high, low := positive(s.LimitHigh), positive(-s.LimitLow)
	if !high && !low || !quantity.Known(err) {
		return
	}
	a.POverLimit, a.ShareLimit, a.Clear = 0, 0, true
	if high {
		a.POverLimit += uncertainty.PAbove(float64(err), float64(u), float64(s.LimitHigh))
		a.Clear = err < s.LimitHigh-u
	}
	if low {
		a.POverLimit += uncertainty.PAbove(-float64(err), float64(u), -float64(s.LimitLow))
		a.Clear = a.Clear && err > s.LimitLow+u
	}
	switch {
	case err >= 0 && high:
		a.ShareLimit = float64(err / s.LimitHigh)
	case err < 0 && low:
		a.ShareLimit = float64(err / s.LimitLow)
	}
	a.POverLimit = min(a.POverLimit, 1)
	a.Over = a.POverLimit >= s.Rule.Threshold()
}
