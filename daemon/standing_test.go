package daemon

import (
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

func TestStandingFollowsTransitions(t *testing.T) {
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	raised := func(k finding.Kind, s finding.Severity) finding.Finding {
		return finding.Finding{Kind: k, State: finding.Raised, Severity: s, Since: at}
	}
	var s standing
	s = s.apply([]finding.Finding{raised(finding.LeadDrift, finding.Maintenance)})
	before := s
	s = s.apply([]finding.Finding{raised(finding.Imbalance, finding.OutOfSpec)})
	if s.worst().Kind != finding.Imbalance || s.condition() != diagnostics.OutOfSpecification {
		t.Fatalf("worst %s, condition %s", s.worst().Kind, s.condition())
	}
	if len(before) != 1 || before[0].Kind != finding.LeadDrift {
		t.Fatalf("a list handed out before was changed: %v", before)
	}
	cleared := raised(finding.Imbalance, finding.OutOfSpec)
	cleared.State = finding.Cleared
	s = s.apply([]finding.Finding{cleared})
	if len(s) != 1 || s.condition() != diagnostics.MaintenanceRequired {
		t.Fatalf("after clearing: %v", s)
	}
	updated := raised(finding.LeadDrift, finding.OutOfSpec)
	updated.State = finding.Updated
	if s = s.apply([]finding.Finding{updated}); len(s) != 1 || s[0].Severity != finding.OutOfSpec {
		t.Fatalf("after an update: %v", s)
	}
}
