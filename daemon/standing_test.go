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

// Two areas each have a box JB-1: both findings stand, each once.
func TestStandingTellsBoxesOfTheSameNameApart(t *testing.T) {
	box := func(first string) standing {
		return standing{{Loop: first, Kind: finding.BoxCommonCause, Box: "JB-1", Severity: finding.Maintenance}}
	}
	d := &Daemon{}
	d.running.Store(&generation{loops: []*watched{
		{tag: "TT-1", standing: box("TT-1")},
		{tag: "TT-2", standing: box("TT-1")},
		{tag: "TT-8", standing: box("TT-8")},
		{tag: "TT-9", standing: box("TT-8")},
	}})
	if got := d.Standing(); len(got) != 2 {
		t.Fatalf("%d findings stand, want one a box: %v", len(got), got)
	}
}
