package daemon

import (
	"testing"
	"time"

	"ohmdrift/config"
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

// partnersAt is a generation of loops in no box.
func partnersAt(tags ...string) *generation {
	g := &generation{plant: &config.Plant{}}
	for _, tag := range tags {
		l := config.Loop{}
		l.Tag = tag
		g.plant.Loops = append(g.plant.Loops, l)
		g.loops = append(g.loops, &watched{tag: tag})
	}
	return g
}

// What partners say of one loop stands at that loop alone, box or none.
func TestWhatPartnersSayStandsAtTheirLoop(t *testing.T) {
	g := partnersAt("TT-1", "TT-2", "TT-3")
	parts := func(tag string, s finding.State) finding.Finding {
		return finding.Finding{Loop: tag, Kind: finding.SensorDrift, State: s, Severity: finding.Maintenance}
	}
	for _, f := range []finding.Finding{parts("TT-1", finding.Raised), parts("TT-2", finding.Raised), parts("TT-1", finding.Cleared)} {
		g.apply(f)
	}
	for i, want := range []int{0, 1, 0} {
		if got := len(g.loops[i].standing); got != want {
			t.Errorf("%d findings stand at %s, want %d", got, g.loops[i].tag, want)
		}
	}
}

// A plant level that is learnt anew closes what it said, each finding once.
func TestForgottenPlantClosesItsFindings(t *testing.T) {
	g := partnersAt("TT-1", "TT-2", "TT-3")
	g.plant.Loops[1].Box, g.plant.Loops[2].Box = "JB-1", "JB-1"
	g.loops[0].standing = standing{{Loop: "TT-1", Kind: finding.LeadDrift}}
	g.apply(finding.Finding{Loop: "TT-1", Kind: finding.SensorDrift})
	g.apply(finding.Finding{Loop: "TT-2", Kind: finding.BoxCommonCause, Box: "JB-1", Loops: []string{"TT-2", "TT-3"}})
	now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	said := g.forgetPlant(now, "learnt anew")
	if len(said) != 2 || said[0].Kind != finding.SensorDrift || said[1].Kind != finding.BoxCommonCause {
		t.Fatalf("closed %v, want one of each", said)
	}
	for _, f := range said {
		if f.State != finding.Cleared || !f.Time.Equal(now) || f.Evidence != "learnt anew" {
			t.Errorf("%s: %+v", f.Kind, f)
		}
	}
	for i, want := range []int{1, 0, 0} {
		if got := len(g.loops[i].standing); got != want {
			t.Errorf("%d findings stand at %s, want %d", got, g.loops[i].tag, want)
		}
	}
}
