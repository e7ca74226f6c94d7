package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

const unbalancedAdvice = "measure the leads at the transmitter with the sensor end joined, and record the balance; a trimmed cable that was cut has to be measured again"

// checkShare is the part of the tolerance that an unbalanced extension may cost
// before it deserves a check: 30 ft of 22 AWG with a 5 % spread cost 48 % of
// grade A at 0 °C, and such a cable without a balance label deserves one (common
// practice). 15 ft cost 24 % and do not.
const checkShare = 0.45

// cutShare: a cable with less than this part of its recorded resistance has
// been shortened, whatever its temperature.
const cutShare = 0.80

// Unbalanced reports a long extension without a record of its balance, from the
// spec alone, at 0 °C or the nearest point of the sensor's range.
func (l *Loop) Unbalanced() (finding.Finding, bool) {
	n := quantity.DeltaC(math.NaN())
	a := Assessment{
		Leads: measure.NoLeads(), Reading: quantity.DegC(math.NaN()), Error: n, U: n, Tolerance: n,
		Spread: math.NaN(), POverLimit: math.NaN(),
	}
	a.SinceCal, a.USinceCal = a.Error, a.U
	return l.unbalanced(&a, l.spec.Predict(quantity.DegC(math.NaN())))
}

func (l *Loop) unbalanced(a *Assessment, p Prediction) (finding.Finding, bool) {
	if !l.balanceMatters() {
		return finding.Finding{}, false
	}
	lead := meanLead(a)
	if l.spec.Balance != "" {
		return l.cutCable(a, lead, p)
	}
	if math.IsNaN(lead) {
		lead = float64(p.Lead)
	}
	at := quantity.DegC(0)
	if quantity.Known(a.Reading) {
		at = a.Reading
	}
	slope := l.spec.Sensor.SlopeAt(at)
	tolerance, _, ok := l.spec.Class.Tolerance(at, l.spec.Construction)
	if limit := l.smallestLimit(a); !ok || limit < tolerance {
		tolerance = limit
	}
	cost := slope.Error(quantity.Ohm(l.est.spread * lead))
	if !(cost > checkShare*tolerance) {
		return finding.Finding{}, false
	}
	sev := finding.Maintenance
	if a.Basis == Measured && !math.IsNaN(a.Spread) {
		sev = finding.Info // the transmitter itself watches the balance
	}
	f := l.raise(a, sev, 0.9, fmt.Sprintf(
		"leads of %.3f Ω without a balance record: a spread of %g %% costs %.3f °C, %.0f %% of ±%.2f °C",
		lead, l.est.spread*100, float64(cost), float64(cost/tolerance)*100, float64(tolerance)))
	f.Kind = finding.UnbalancedCable
	return f, true
}

// balanceMatters: a method whose error is a difference of leads depends on the
// balance; four-wire and device-corrected loops do not, and two wires have none.
func (l *Loop) balanceMatters() bool {
	switch l.spec.Method {
	case wiring.ThreeWireLoop, wiring.ThreeWireDual, wiring.ThreeWireHalf, wiring.FourWireLoop:
		return true
	}
	return false
}

// cutCable compares a balanced cable with its record: trimming makes the leads
// of one length equal, so a cable that was cut later is balanced no more.
func (l *Loop) cutCable(a *Assessment, lead float64, p Prediction) (finding.Finding, bool) {
	slack := float64(l.est.accuracy + l.est.step)
	if !(lead+slack < min(cutShare*float64(p.Lead), float64(p.Low))) {
		return finding.Finding{}, false
	}
	evidence := fmt.Sprintf("leads of %.3f Ω where the balanced cable (%s) should have %.3f Ω: it was cut after it was trimmed", lead, l.spec.Balance, float64(p.Lead))
	if positive(l.spec.CableM) {
		evidence += fmt.Sprintf(", to about %.1f of %.1f m", lead/float64(p.Lead)*float64(l.spec.CableM), float64(l.spec.CableM))
	}
	f := l.raise(a, finding.Maintenance, 0.9, evidence)
	f.Kind = finding.UnbalancedCable
	return f, true
}

// meanLead averages the known leads; NaN without any.
func meanLead(a *Assessment) float64 {
	var m mean
	for _, o := range a.Leads {
		m.add(float64(o))
	}
	return m.value()
}
