package diagnostics

import (
	"fmt"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
)

var notFourWire = check{
	kind:   finding.NotFourWire,
	advice: "compare the terminals with the wiring diagram: a jumper, a lead not landed, or two leads under one terminal",
	shows:  showsNotFourWire,
	find:   findNotFourWire,
}

func showsNotFourWire(l *Loop, _ *measure.Sample, a *Assessment) bool {
	if l.spec.Wires != 4 {
		return false
	}
	v := l.falseFourWire(&a.Leads)
	return !v.Sound()
}

func findNotFourWire(l *Loop, _ *measure.Sample, a *Assessment) (finding.Finding, bool) {
	v := l.FalseFourWire(&a.Leads)
	if v.Sound() {
		return finding.Finding{}, false
	}
	return l.notFourWireFinding(a, v), true
}

// notFourWireFinding reports a verdict. The error stands in for the method's
// own, which a false connection makes wrong.
func (l *Loop) notFourWireFinding(a *Assessment, v FourWireVerdict) finding.Finding {
	f := l.raise(a, finding.OutOfSpec, v.Confidence, v.Evidence)
	f.Leads = v.Leads
	if a.Reason != reasonNotFourWire { // not sure enough for Assess
		f.Error, _ = l.inDegrees(a, v.Error, new(uncertainty.Budget))
		f.U = quantity.DeltaC(quantity.Absent)
	}
	if quantity.Known(f.Error) {
		f.Evidence += signs(fmt.Sprintf("; reading error %+.2f °C", float64(f.Error)))
		f.POverLimit = l.pOver(f.Error)
	}
	return f
}
