package replay

import (
	"fmt"
	"iter"
	"slices"
	"testing"
	"time"

	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// told is what the engine said in a story of the simulated plant: one fault of a
// kind in TT-1 from the middle of 120 days on, three sound loops in its box.
type told struct {
	plant    *plant.Plant
	specs    []*diagnostics.Spec
	onset    time.Time
	findings []finding.Finding // of all loops and of the box, in time order
}

// storyFrom leaves 35 days of baseline before the onset.
const storyFrom = plant.StoryPast/2 + 35*24*time.Hour

// tell plays the first n loops of a story to an engine each and to the plant
// level above them.
func tell(t testing.TB, kind plant.Kind, seed uint64, w way, n int) told {
	t.Helper()
	spec := plant.StorySpec(w.method, w.reports)
	p, err := plant.Story(kind, seed, recordStart, spec)
	if err != nil {
		t.Fatal(err)
	}
	s := told{plant: p, onset: recordStart.Add(-plant.StoryPast / 2)}
	engines := make([]*drift.Engine, n)
	next := make([]func() (measure.Sample, bool), n)
	for i := range engines {
		l := spec
		l.Tag, l.Box = fmt.Sprintf("TT-%d", i+1), "JB-1"
		s.specs = append(s.specs, &l)
		if engines[i], err = drift.New(&l); err != nil {
			t.Fatal(err)
		}
		var stop func()
		next[i], stop = iter.Pull(p.Past(i, recordStart.Add(-storyFrom), recordStart, drift.Mark))
		defer stop()
	}
	site := drift.NewSite(s.specs)
	for {
		for i, e := range engines {
			x, ok := next[i]()
			if !ok {
				return s
			}
			if i == 0 {
				s.findings = site.Mark(x.At, s.findings)
			}
			s.findings = e.Step(&x, site.Neighbour(i), s.findings)
			site.Put(i, e.Publish())
		}
	}
}

// counted returns the findings of a loop that cost somebody a look: above info,
// as they began or were lifted.
func (s *told) counted(tag string) []finding.Finding {
	var out []finding.Finding
	for _, f := range s.findings {
		if f.Severity > finding.Info && f.State != finding.Cleared && (f.Loop == tag || slices.Contains(f.Loops, tag)) {
			out = append(out, f)
		}
	}
	return out
}

// way is a connection and what its transmitter reports.
type way struct {
	method  wiring.Method
	reports wiring.Reports
}

// name is how a story is called in tests.
func (w way) name(k plant.Kind) string { return fmt.Sprintf("%s/%s/%s", k, w.method, w.reports) }

// wantSoundSilent fails for every finding above info on the loops from one on.
func (s *told) wantSoundSilent(t *testing.T, from int) {
	t.Helper()
	for _, l := range s.specs[from:] {
		for _, f := range s.counted(l.Tag) {
			t.Errorf("%s is sound, got %s at %v: %s", l.Tag, f.Kind, f.Time, f.Evidence)
		}
	}
}

// A plant without faults is silent for four months, whatever it reports. Nothing
// is ever said of a loop that reports its reading only, not even with a fault in
// its leads.
func TestSoundStoriesAreSilent(t *testing.T) {
	t.Parallel()
	for seed, w := range []way{
		{wiring.FourWire, wiring.AllLeads},
		{wiring.ThreeWireDual, wiring.AllLeads},
		{wiring.ThreeWireHalf, wiring.PairsOnly},
		{wiring.FourWire, wiring.LoopsOnly},
		{wiring.ThreeWireLoop, wiring.LoopsOnly},
	} {
		t.Run(w.name(plant.Sound), func(t *testing.T) {
			s := tell(t, plant.Sound, uint64(seed)+100, w, 2)
			s.wantSoundSilent(t, 0)
		})
	}
	t.Run("unseen", func(t *testing.T) {
		s := tell(t, plant.Linear, 7, way{wiring.TwoWire, wiring.ReadingOnly}, 1)
		s.wantSoundSilent(t, 0)
	})
}

// Water in a junction box is one common cause with the three bad loops as
// members, told once as long as it lasts (it may dry out and come back); the
// fourth, sound, is not dragged in. Pairs are not among the report
// levels: fast wet fronts on one of two leads can still pass for a new cable.
func TestWetBoxIsOneCause(t *testing.T) {
	t.Parallel()
	for seed, w := range []way{{wiring.FourWire, wiring.AllLeads}, {wiring.ThreeWireDual, wiring.AllLeads}, {wiring.FourWire, wiring.LoopsOnly}} {
		t.Run(w.name(plant.Moisture), func(t *testing.T) {
			s := tell(t, plant.Moisture, uint64(seed)+300, w, plant.StoryLoops)
			s.wantSoundSilent(t, 3)
			stands, members := false, []string{}
			for _, f := range s.findings {
				if f.Kind != finding.BoxCommonCause {
					continue
				}
				if f.Box != "JB-1" || f.Time.Before(s.onset) || (f.State == finding.Raised) == stands {
					t.Errorf("%s of box %q at %v, stood before: %v; want JB-1, once at a time, after %v", f.State, f.Box, f.Time, stands, s.onset)
				}
				stands = f.State != finding.Cleared
				members = append(members, f.Loops...)
			}
			slices.Sort(members)
			if members = slices.Compact(members); !slices.Equal(members, []string{"TT-1", "TT-2", "TT-3"}) {
				t.Errorf("members %v, want TT-1 to TT-3", members)
			}
		})
	}
}
