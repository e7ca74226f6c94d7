package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

var imbalance = check{
	kind:   finding.Imbalance,
	advice: "find which terminal of the named lead has risen; where none is named, compare the leads from both ends",
	shows:  showsImbalance,
	find:   findImbalance,
}

// assumedSurety is the probability from which an error that rests on an
// assumption (equal leads, the cable of the index) is told as a finding: an
// assumption alone calls nobody out. Assess shows such an error all the same.
const assumedSurety = 0.95

func showsImbalance(_ *Loop, _ *measure.Sample, a *Assessment) bool {
	if !a.Over || a.Reason == reasonNotFourWire { // the wrong connection is told instead
		return false
	}
	return a.Basis == Measured || !(a.POverLimit < assumedSurety)
}

func findImbalance(l *Loop, s *measure.Sample, a *Assessment) (finding.Finding, bool) {
	if !showsImbalance(l, s, a) {
		return finding.Finding{}, false
	}
	err, u := l.Counts(a)
	f := l.raise(a, finding.OutOfSpec, a.POverLimit, fmt.Sprintf(
		"reading error %+.3f ± %.3f °C against %s, P %.2f (%s), imbalance %+.4f Ω %s",
		float64(err), float64(u), l.limits(), a.POverLimit, l.spec.Rule, float64(a.Imbalance), a.Basis))
	if a.Basis == Measured {
		f.Leads = l.guilty(a)
	}
	return f, true
}

// limits prints the loop's limits by side.
func (l *Loop) limits() string {
	high, low := positive(l.spec.LimitHigh), positive(-l.spec.LimitLow)
	switch {
	case high && low:
		return fmt.Sprintf("%+g/%+g °C", float64(l.spec.LimitHigh), float64(l.spec.LimitLow))
	case high:
		return fmt.Sprintf("%+g °C", float64(l.spec.LimitHigh))
	}
	return fmt.Sprintf("%+g °C", float64(l.spec.LimitLow))
}

// bridgedOhm is more than a jumper and its two terminals have, some 5 mΩ each with
// rounding, Ω; common practice.
const bridgedOhm = 0.03

// guilty names the lead that stands out: larger than every other lead by more
// than the cable's spread and what the device can be wrong by. Where several
// have risen, or the reading falls short because of a small lead, it names none.
func (l *Loop) guilty(a *Assessment) finding.LeadSet {
	worst, second, at := math.Inf(-1), math.Inf(-1), measure.A1
	for lead, o := range a.Leads {
		switch f := float64(o); {
		case math.IsNaN(f):
		case f > worst:
			worst, second, at = f, worst, measure.Lead(lead)
		case f > second:
			second = f
		}
	}
	usual := l.est.spread*second + 2*float64(l.est.accuracy)
	if second < bridgedOhm { // then the others are bridged
		return 0
	}
	if !(worst-second > usual) || l.est.coef[at] == 0 || math.IsInf(second, -1) {
		return 0
	}
	// A rise of the lead must push the reading to the side where it is.
	if err, _ := l.Counts(a); quantity.Known(err) && l.est.coef[at]*float64(err) < 0 {
		return 0
	}
	return finding.LeadsOf(at)
}
