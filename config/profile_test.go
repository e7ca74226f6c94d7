package config

import (
	"testing"

	"ohmdrift/devices/profiles"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/wiring"
)

// TestBuiltInProfiles: each loads, bears the name of its file, and can report
// what it is for.
func TestBuiltInProfiles(t *testing.T) {
	reports := map[string]struct {
		wires int
		level wiring.Reports
	}{
		"four-wire-emf": {4, wiring.AllLeads}, "leads-float": {3, wiring.AllLeads}, "leads-scaled": {4, wiring.AllLeads},
		"loops-unsigned": {4, wiring.LoopsOnly}, "pairs-float": {3, wiring.PairsOnly}, "reading-only": {2, wiring.ReadingOnly},
	}
	for _, f := range profiles.All() {
		p, err := ParseProfile(f.Name, f.Text)
		if err != nil {
			t.Error(err)
			continue
		}
		want, listed := reports[p.Name]
		if p.Name != builtInName(f) || !listed || p.Description == "" {
			t.Errorf("%s: name %q, description %q", f.Name, p.Name, p.Description)
		}
		if missing := lacks(p, want.wires, want.level); missing != "" {
			t.Errorf("%s: lacks %s for %v", f.Name, missing, want.level)
		}
		if level := usualReports(&Loop{Spec: diagnostics.Spec{Wires: want.wires}, Profile: p}); level != want.level {
			t.Errorf("%s: a loop of %d wires reports %v, want %v", f.Name, want.wires, level, want.level)
		}
	}
	if len(profiles.All()) != len(reports) {
		t.Errorf("%d profiles, want %d", len(profiles.All()), len(reports))
	}
}
