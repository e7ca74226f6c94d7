package daemon

import (
	"slices"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// standing is the open findings of one loop, worst first. It is a value that is
// replaced, never changed, so that a page may keep what it was handed.
type standing []finding.Finding

// apply returns the findings that stand after the transitions.
func (s standing) apply(transitions []finding.Finding) standing {
	if len(transitions) == 0 {
		return s
	}
	next := slices.Clone(s)
	for _, f := range transitions {
		next = slices.DeleteFunc(next, func(g finding.Finding) bool { return g.Kind == f.Kind && g.Box == f.Box })
		if f.State != finding.Cleared {
			next = append(next, f)
		}
	}
	slices.SortStableFunc(next, func(a, b finding.Finding) int {
		if a.Severity != b.Severity {
			return int(b.Severity) - int(a.Severity)
		}
		return a.Since.Compare(b.Since)
	})
	return next
}

// find returns the finding of a kind; nil when none stands.
func (s standing) find(k finding.Kind) *finding.Finding {
	for i := range s {
		if s[i].Kind == k {
			return &s[i]
		}
	}
	return nil
}

// worst returns the first finding; nil when nothing stands.
func (s standing) worst() *finding.Finding {
	if len(s) == 0 {
		return nil
	}
	return &s[0]
}

// condition returns the NE 107 category of the worst finding.
func (s standing) condition() diagnostics.Condition {
	if len(s) == 0 {
		return diagnostics.ConditionGood
	}
	return diagnostics.ConditionOf(s[0].Severity)
}
