package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

var leadLimit = check{
	kind:   finding.LeadLimit,
	advice: "bring the lead below what the device works with: check its terminals, then its cross-section and length",
	shows:  showsLeadLimit,
	find:   findLeadLimit,
}

func showsLeadLimit(l *Loop, s *measure.Sample, a *Assessment) bool {
	if !positive(l.spec.LeadLimit) {
		return false
	}
	_, ok := findLeadLimit(l, s, a)
	return ok
}

// findLeadLimit holds each lead against the resistance up to which the device
// works: the limit of loops whose reading does not depend on their leads.
func findLeadLimit(l *Loop, s *measure.Sample, a *Assessment) (finding.Finding, bool) {
	limit := l.spec.LeadLimit
	if !positive(limit) {
		return finding.Finding{}, false
	}
	var b uncertainty.Budget
	b.Rect(float64(l.est.accuracy))
	b.Rect(float64(l.est.step) / 2)
	u := b.Expanded()
	var set finding.LeadSet
	worst, p := math.Inf(-1), 0.0
	for lead, o := range a.Leads {
		if float64(o) < float64(limit)-u {
			continue // 2.5 % at most, less than any rule asks for
		}
		if q := uncertainty.PAbove(float64(o), u, float64(limit)); q >= l.spec.Rule.Threshold() {
			set |= finding.LeadsOf(measure.Lead(lead))
			worst, p = max(worst, float64(o)), max(p, q)
		}
	}
	if set == 0 {
		return l.loopOverLimit(s, a, u)
	}
	f := l.raise(a, finding.OutOfSpec, p, fmt.Sprintf(
		"lead resistance %.3f ± %.3f Ω against a limit of %g Ω, P %.2f (%s)", worst, u, float64(limit), p, l.spec.Rule))
	f.Leads, f.POverLimit = set, p
	return f, true
}

// loopOverLimit: where only sums are reported, a sum above twice the limit
// proves one of its leads over it, but not which.
func (l *Loop) loopOverLimit(s *measure.Sample, a *Assessment, u float64) (finding.Finding, bool) {
	if l.spec.Reports != wiring.LoopsOnly {
		return finding.Finding{}, false
	}
	for _, o := range [...]quantity.Ohm{s.LoopA, s.LoopB} {
		p := uncertainty.PAbove(float64(o), u, 2*float64(l.spec.LeadLimit))
		if p >= l.spec.Rule.Threshold() && o <= 2*MaxLead {
			f := l.raise(a, finding.OutOfSpec, p, fmt.Sprintf(
				"loop resistance %.3f Ω: one of its leads is over the limit of %g Ω, P %.2f", float64(o), float64(l.spec.LeadLimit), p))
			f.POverLimit = p
			return f, true
		}
	}
	return finding.Finding{}, false
}
