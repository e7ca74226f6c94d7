package replay

import (
	"testing"

	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics/measure"
)

// Two loops at one place of a batch process, one of which reports pairs: what
// moves its reading unseen is told by the partner, and nothing is told of two
// sound ones or of a contact that is seen.
func TestPartners(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name  string
		fault plant.Fault
		loop  int
		drift string // loop with sensor-drift; empty = none
		other string // what else stands in the end
	}{
		{name: "sound", fault: plant.Fault{}},
		{name: "a lead that is not reported", fault: plant.Fault{Kind: plant.Linear, Lead: measure.A1, Size: 0.4, Life: 60 * oneDay}, drift: "TT-1"},
		{name: "a lead that is reported", fault: plant.Fault{Kind: plant.Linear, Lead: measure.B1, Size: 0.4, Life: 60 * oneDay}, loop: 1, other: "lead-drift"},
		{name: "an element", fault: plant.Fault{Kind: plant.SensorDrift, Size: 0.4, Life: 60 * oneDay}, drift: "TT-1"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			said := twoAtOnePlace(t, test.fault, test.loop)
			drift := map[string]bool{}
			other := ""
			for i := range said {
				s := &said[i]
				switch {
				case s.Kind == "sensor-drift":
					drift[s.Loop] = s.State != "cleared"
				case s.Severity != "info" && s.State != "cleared":
					other = s.Kind
				}
			}
			if test.drift == "" && len(drift) > 0 || test.drift != "" && (!drift[test.drift] || len(drift) > 1) || other != test.other {
				t.Errorf("sensor-drift %v and %q, want %q and %q", drift, other, test.drift, test.other)
				for i := range said {
					t.Logf("day %.2f: %s", daysAfter(said[i].Time), &said[i])
				}
			}
		})
	}
}

func twoAtOnePlace(t *testing.T, fault plant.Fault, loop int) []saying {
	t.Helper()
	end := chronicleOnset.Add(45 * oneDay)
	conf := plant.Config{Seed: 11, Start: end}
	for i, w := range []way{pairs(), dual()} {
		s := plant.StorySpec(w.method, w.reports)
		s.Tag, s.Partner, s.Service = []string{"TT-1", "TT-2"}[i], []string{"TT-2", "TT-1"}[i], "batch"
		conf.Loops = append(conf.Loops, plant.Loop{Spec: s, Link: -1, Unit: uint8(i + 1), Profile: storyRegisters()})
	}
	if fault.Kind != "" {
		fault.Onset = chronicleOnset
		conf.Faults = []plant.Placed{{Loop: loop, Fault: fault}}
	}
	_, said := retold(t, conf)
	return said
}
