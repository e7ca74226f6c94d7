package drift

import (
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// An error over the limit and the contact that makes it are one matter: it is
// told once, as the contact that somebody can go and tighten. The error makes
// its finding out of specification.

// Carries tells whether the standing finding about contacts accounts for an
// error beyond the limit: one of its leads moves the reading to that side, and
// the leads of the baseline did not do it by themselves. A voltage has no side.
func (e *Engine) Carries(err quantity.DeltaC) bool {
	r := &e.s.Found[aboutContact]
	if r.Kind == 0 || e.overAtHome(err) {
		return false
	}
	for k := range e.m.n {
		if r.Channels>>k&1 == 0 || e.m.ch[k].named == 0 {
			continue
		}
		c := e.m.ch[k].coef
		if c*float64(err) > 0 || c*float64(err) < 0 && r.kind() == finding.ThermalEMF {
			return true
		}
	}
	return false
}

// overAtHome tells whether the error of the baseline was beyond the limit
// already, on the side of err.
func (e *Engine) overAtHome(err quantity.DeltaC) bool {
	sp := e.m.spec
	if sp.Calibrated == diagnostics.LeadsIn {
		return false // it was trimmed out
	}
	home := quantity.DeltaC(e.s.Error.Home)
	if err < 0 {
		return home < sp.LimitLow
	}
	return home > sp.LimitHigh
}

// Exceed takes whether the loop is beyond its limit now, and why. A finding that
// carries the error is out of specification as long as that lasts; it says so at
// once, with the words of why.
func (e *Engine) Exceed(over bool, why func() string, out []finding.Finding) []finding.Finding {
	e.s.Beyond = over
	r := &e.s.Found[aboutContact]
	if !over || r.Kind == 0 || r.Severity >= finding.OutOfSpec {
		return out
	}
	r.Severity, r.Updated = finding.OutOfSpec, e.s.Last
	return append(out, e.finding(r, finding.Updated, why()))
}
