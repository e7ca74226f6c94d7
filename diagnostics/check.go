package diagnostics

import (
	"math"
	"strings"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// CheckEngine marks findings that one sample supports, as against those of the
// drift engine, which need a history.
const CheckEngine = "check/1"

// check is one condition that a single sample can show.
type check struct {
	kind   finding.Kind
	advice string                                               // what to do, for screens and the manual
	shows  func(l *Loop, s *measure.Sample, a *Assessment) bool // without a word
	find   func(l *Loop, s *measure.Sample, a *Assessment) (finding.Finding, bool)
}

// checks in the order in which they are tried: wrong wiring explains an
// imbalance, so it stands first.
var checks = []check{notFourWire, leadLimit, imbalance, curveMismatch, thermalEMF, selfHeating}

// Check appends the findings that one sample supports. The sample and its
// assessment must belong together. It allocates only for what it finds.
func (l *Loop) Check(s *measure.Sample, a *Assessment, out []finding.Finding) []finding.Finding {
	if !s.Quality.Usable() {
		return out
	}
	for i := range checks {
		if f, ok := checks[i].find(l, s, a); ok {
			f.Kind = checks[i].kind
			out = append(out, f)
		}
	}
	return out
}

// Shown is a set of conditions that one sample shows, a bit for each in the order
// of CheckKinds.
type Shown uint8

// Has tells whether the condition i of CheckKinds is shown.
func (x Shown) Has(i int) bool { return x>>i&1 != 0 }

// CheckKinds returns the kinds that Check can find, in its order.
func CheckKinds() []finding.Kind {
	kinds := make([]finding.Kind, len(checks))
	for i := range checks {
		kinds[i] = checks[i].kind
	}
	return kinds
}

// Shown tells what Check would find. It writes no evidence: what stands is shown
// by every sample, and told once.
func (l *Loop) Shown(s *measure.Sample, a *Assessment) (x Shown) {
	if !s.Quality.Usable() {
		return 0
	}
	for i := range checks {
		if checks[i].shows(l, s, a) {
			x |= 1 << i
		}
	}
	return x
}

// Find returns what Check finds of one kind; ok is false where that is nothing.
func (l *Loop) Find(k finding.Kind, s *measure.Sample, a *Assessment) (f finding.Finding, ok bool) {
	if !s.Quality.Usable() {
		return f, false
	}
	for i := range checks {
		if checks[i].kind == k {
			f, ok = checks[i].find(l, s, a)
			f.Kind = k
			return f, ok
		}
	}
	return f, false
}

// Advice returns what to do about a kind that Check or Commission finds; empty
// for others.
func Advice(k finding.Kind) string {
	for _, c := range checks {
		if c.kind == k {
			return c.advice
		}
	}
	if k == finding.UnbalancedCable {
		return unbalancedAdvice
	}
	return ""
}

// raise starts a finding with what every check fills in alike.
func (l *Loop) raise(a *Assessment, sev finding.Severity, confidence float64, evidence string) finding.Finding {
	err, u := l.Counts(a)
	return finding.Finding{
		Time: a.At, Since: a.At, Loop: l.spec.Tag, State: finding.Raised, Severity: sev,
		Contact: quantity.Ohm(math.NaN()), Error: err, U: u, POverLimit: a.POverLimit,
		Confidence: confidence, Engine: CheckEngine, Evidence: signs(evidence),
	}
}

// signs writes negative numbers of a sentence with the minus sign, U+2212; dates
// and words keep their hyphens.
func signs(s string) string {
	var b strings.Builder
	for i := range len(s) {
		digit := i+1 < len(s) && s[i+1] >= '0' && s[i+1] <= '9'
		if s[i] == '-' && digit && (i == 0 || s[i-1] == ' ' || s[i-1] == '/') {
			b.WriteString("−")
			continue
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// smallestLimit returns the tighter of the two limits, or the class tolerance
// where the process states none; NaN without either.
func (l *Loop) smallestLimit(a *Assessment) quantity.DeltaC {
	high, low := l.spec.LimitHigh, -l.spec.LimitLow
	switch {
	case positive(high) && positive(low):
		return min(high, low)
	case positive(high):
		return high
	case positive(low):
		return low
	}
	return a.Tolerance
}
