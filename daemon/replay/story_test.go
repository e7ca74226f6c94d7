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

// soon is how long after its onset a fault of a story must be found: twice the
// longest time measured over kinds, ways and three seeds (2 to 6 days; the limit
// is passed after 37 to 60).
const soon = 12 * 24 * time.Hour

// grace is what an abrupt fault is given to be found: it leaves its limit at once.
const grace = 4 * 24 * time.Hour

// crossing returns when the true error of TT-1 had been beyond its limit for 5 %
// of a day, grace at the earliest, the end of the story if it never was.
func (s *told) crossing() time.Time {
	var beyond [24]bool
	for h := 0; ; h++ {
		at := s.onset.Add(time.Duration(h) * time.Hour)
		if !at.Before(recordStart) {
			return recordStart
		}
		e := s.plant.Truth(0, at).Error
		beyond[h%24] = !(e <= s.specs[0].LimitHigh && e >= s.specs[0].LimitLow)
		n := 0
		for _, b := range beyond {
			if b {
				n++
			}
		}
		if n >= 2 && h >= int(grace/time.Hour) {
			return at
		}
	}
}

// way is a connection and what its transmitter reports.
type way struct {
	method  wiring.Method
	reports wiring.Reports
}

// name is how a story is called in tests.
func (w way) name(k plant.Kind) string { return fmt.Sprintf("%s/%s/%s", k, w.method, w.reports) }

// families are the kinds by which a fault may be called from some days after its
// onset to the crossing: what a technician would do is the same.
func families() map[plant.Kind][]finding.Kind {
	contact := []finding.Kind{finding.LeadDrift, finding.LeadThermal, finding.LeadIntermittent}
	return map[plant.Kind][]finding.Kind{
		plant.Linear: contact, plant.Film: contact, plant.TakeOff: contact, plant.Thermal: contact,
		plant.Step:         {finding.LeadStep, finding.LeadDrift},
		plant.Intermittent: {finding.LeadIntermittent},
	}
}

// A contact that goes bad is found before its error passes the limit, on the
// right lead and no other (on none where the transmitter shows sums), under a
// kind of its family. Lead noise, shorts
// and open leads of a device that reports its own fault are not asserted: they
// are not yet told from other kinds at every report level.
func TestStoriesAreFound(t *testing.T) {
	t.Parallel()
	ways := []way{{wiring.FourWire, wiring.AllLeads}, {wiring.ThreeWireLoop, wiring.PairsOnly}, {wiring.ThreeWireDual, wiring.AllLeads}, {wiring.FourWire, wiring.LoopsOnly}}
	n := 0
	for _, kind := range plant.Kinds() {
		family, ok := families()[kind]
		if !ok {
			continue
		}
		for range 2 { // every kind on two ways, every way with three kinds
			w, seed := ways[(n+n/4)%len(ways)], uint64(n)
			n++
			t.Run(w.name(kind), func(t *testing.T) {
				s := tell(t, kind, seed, w, 1)
				s.wantFound(t, family, w.reports == wiring.LoopsOnly)
			})
		}
	}
}

// wantSoundSilent fails for every finding above info on the loops from one on.
func (s *told) wantSoundSilent(t *testing.T, from int) {
	t.Helper()
	for _, l := range s.specs[from:] {
		for _, f := range s.counted(l.Tag) {
			t.Errorf("%s is sound, got %s at %v: %s", l.Tag, f.Kind, f.Time, f.Evidence)
		}
	}
}

// wantFound fails unless TT-1 was found after the onset and before the crossing,
// its lead and kind right in the finding that stood last before it.
func (s *told) wantFound(t *testing.T, family []finding.Kind, sums bool) {
	t.Helper()
	want, cross := finding.LeadsOf(s.plant.Degrading()[0].Lead), s.crossing()
	if sums {
		want = 0
	}
	var last *finding.Finding
	for i, f := range s.counted("TT-1") {
		if i == 0 && f.Time.After(s.onset.Add(soon)) {
			t.Errorf("found at %v, want by %v: %s", f.Time, s.onset.Add(soon), f.Evidence)
		}
		switch {
		case f.Time.Before(s.onset):
			t.Errorf("found %s at %v, before the onset %v: %s", f.Kind, f.Time, s.onset, f.Evidence)
		case f.Leads&^want != 0:
			t.Errorf("%s names %v, want at most %v: %s", f.Kind, f.Leads.Names(), want.Names(), f.Evidence)
		case f.Time.Before(cross) && f.Kind != finding.InsulationLeak && f.Kind != finding.BoxCommonCause:
			last = &f
		}
	}
	switch {
	case last == nil:
		t.Errorf("not found before the limit was passed at %v; said %d findings", cross, len(s.findings))
	case !slices.Contains(family, last.Kind) || last.Leads != want:
		t.Errorf("last before %v is %s %v, want one of %v on %v: %s", cross, last.Kind, last.Leads.Names(), family, want.Names(), last.Evidence)
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

// What is no fault of a terminal is silent or told as what was done, at severity
// info. A lead that was lengthened and a hot line beside the cable are not among
// them yet: they can pass for a contact.
func TestHarmlessStoriesAreNoFault(t *testing.T) {
	t.Parallel()
	seed, ways := uint64(200), []way{{wiring.ThreeWireDual, wiring.AllLeads}, {wiring.FourWire, wiring.AllLeads}}
	for _, kind := range []plant.Kind{plant.Recabled, plant.Settling, plant.SensorDrift, plant.Recalibrated, plant.Coarser, plant.Flaky, plant.Swap} {
		seed++
		w := ways[seed%2]
		t.Run(w.name(kind), func(t *testing.T) {
			s := tell(t, kind, seed, w, 1)
			s.wantSoundSilent(t, 0)
			if kind == plant.Recabled && !slices.ContainsFunc(s.findings, func(f finding.Finding) bool {
				return f.Kind == finding.CableChanged && f.Loop == "TT-1" && !f.Time.Before(s.onset)
			}) {
				t.Error("the new cable was not told")
			}
		})
	}
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
