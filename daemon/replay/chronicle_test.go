package replay

import (
	"cmp"
	"fmt"
	"hash/crc32"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// A chronicle is what happens to one loop of the simulated plant, and what is to be
// said of it. Its registers are recorded for a month before and some weeks after its
// faults begin, and go through the decoder and a replay.
type chronicle struct {
	name    string
	ways    []way
	service string // of the process; empty = steady
	outdoor bool
	days    int           // from the onset to the end; 0 = chronicleDays
	faults  []plant.Fault // without an onset: at chronicleOnset
	limit   quantity.Ohm  // up to which the device works with a lead; 0 = that of plant.StorySpec

	first []string // kinds that the first finding above info may have; none = nothing above info is said
	by    float64  // days from the onset to it
	leads string   // that it and all others above info name
	final []string // "kind severity" of what stands in the end above info, in alphabetical order
	pass  []string // kinds besides first and final that may stand on the way
	notes []string // kinds of severity info, each of which must be told, and no others
}

const (
	oneDay        = 24 * time.Hour
	chronicleDays = 45
	baselineDays  = 30
)

// chronicleOnset is when the faults begin.
var chronicleOnset = recordStart

// Every fault that can be seen is found on its leads, under its kind, before it
// matters; what is no fault is silent, or told as what it was.
func TestChronicles(t *testing.T) {
	t.Parallel()
	for _, c := range slices.Concat(contactChronicles(), wiringChronicles(), quietChronicles()) {
		for _, w := range c.ways {
			name := fmt.Sprintf("%s/%s/%s", strings.ReplaceAll(c.name, " ", "-"), w.method, w.reports)
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				c.tell(t, w, uint64(crc32.ChecksumIEEE([]byte(name))))
			})
		}
	}
}

func faults(f ...plant.Fault) []plant.Fault { return f }

// The ways in which chronicles are told.
func four() way  { return way{wiring.FourWire, wiring.AllLeads} }
func dual() way  { return way{wiring.ThreeWireDual, wiring.AllLeads} }
func half() way  { return way{wiring.ThreeWireHalf, wiring.AllLeads} }
func pairs() way { return way{wiring.ThreeWireLoop, wiring.PairsOnly} }
func sums() way  { return way{wiring.FourWire, wiring.LoopsOnly} }

// contactChronicles are of contacts that go bad.
func contactChronicles() []chronicle {
	const b1 = measure.B1
	return []chronicle{
		{
			name: "grows", ways: []way{dual(), pairs()}, faults: faults(plant.Fault{Kind: plant.Linear, Lead: b1, Size: 0.15, Life: 60 * oneDay}),
			first: []string{"lead-drift"}, by: 9, leads: "b1", final: []string{"lead-drift maintenance"},
		},
		{ // sums of leads name none
			name: "a film grows", ways: []way{sums(), four()}, faults: faults(plant.Fault{Kind: plant.Film, Lead: b1, Size: 0.15, Life: 60 * oneDay}),
			first: []string{"lead-drift"}, by: 7, leads: "b1", final: []string{"lead-drift maintenance"},
		},
		{
			name: "takes off", ways: []way{half()}, faults: faults(plant.Fault{Kind: plant.TakeOff, Lead: b1, Size: 0.03, Life: 50 * oneDay}),
			first: []string{"lead-drift"}, by: 7, leads: "b1", final: []string{"lead-drift out-of-spec"},
		},
		{
			name: "steps", ways: []way{four(), pairs()}, days: 15, faults: faults(plant.Fault{Kind: plant.Step, Lead: b1, Size: 0.03}),
			first: []string{"lead-step"}, by: 4, leads: "b1", final: []string{"lead-step maintenance"},
		},
		{
			name: "comes and goes", ways: []way{four(), pairs()}, days: 20, faults: faults(plant.Fault{Kind: plant.Intermittent, Lead: b1, Size: 0.08, Life: 60 * oneDay}),
			first: []string{"lead-intermittent"}, by: 4, leads: "b1", final: []string{"lead-intermittent maintenance"},
		},
		{
			name: "opens with warmth", ways: []way{dual(), four()}, days: 30, outdoor: true, faults: faults(plant.Fault{Kind: plant.Thermal, Lead: b1, Size: 0.15, Life: 30 * oneDay}),
			first: []string{"lead-step", "lead-drift", "lead-thermal", "lead-intermittent"}, by: 10, leads: "b1", final: []string{"lead-thermal maintenance"}, pass: []string{"lead-drift", "lead-intermittent"},
		},
		{
			name: "wet for a week", ways: []way{four(), pairs()}, days: 60, faults: faults(plant.Fault{Kind: plant.Moisture, Lead: b1, Size: 0.15, Life: 10 * oneDay, Spell: 6 * oneDay}),
			first: []string{"lead-drift", "lead-step", "lead-thermal", "lead-intermittent"}, by: 12, leads: "b1", final: []string{"lead-moisture maintenance"}, pass: []string{"lead-drift", "lead-step", "lead-intermittent"},
		},
		{
			name: "crackles", ways: []way{dual()}, days: 20, faults: faults(plant.Fault{Kind: plant.Noise, Lead: b1, Size: 0.03, Life: 30 * oneDay}),
			first: []string{"lead-noise"}, by: 10, leads: "b1", final: []string{"lead-noise maintenance"},
		},
		{
			name: "two leads at once", ways: []way{four(), dual()}, days: 25,
			faults: faults(plant.Fault{Kind: plant.Linear, Lead: measure.A1, Size: 0.15, Life: 60 * oneDay}, plant.Fault{Kind: plant.Linear, Lead: b1, Size: 0.1, Life: 60 * oneDay}),
			first:  []string{"lead-drift"}, by: 16, leads: "a1 b1", final: []string{"lead-drift maintenance"}, pass: []string{"lead-step", "lead-thermal"},
		},
		{
			name: "open after excursions", ways: []way{dual()}, days: 45,
			faults: faults(plant.Fault{Kind: plant.Intermittent, Lead: b1, Size: 0.08, Life: 40 * oneDay}, plant.Fault{Kind: plant.Open, Lead: b1, Onset: chronicleOnset.Add(35 * oneDay)}),
			first:  []string{"lead-intermittent"}, by: 4, leads: "b1", final: []string{"lead-intermittent maintenance", "lead-open failure"},
		},
		{
			name: "another metal", ways: []way{four(), half()}, service: "batch", faults: faults(plant.Fault{Kind: plant.Junction, Lead: measure.A1, Volt: 1e-6, Life: 60 * oneDay}),
			first: []string{"thermal-emf"}, by: 30, leads: "a1", final: []string{"thermal-emf maintenance"},
		},
		{
			name: "another metal the other way", ways: []way{dual()}, service: "batch", faults: faults(plant.Fault{Kind: plant.Junction, Lead: b1, Volt: -1.5e-6, Life: 60 * oneDay}),
			first: []string{"thermal-emf"}, by: 35, leads: "b1", final: []string{"thermal-emf maintenance"},
		},
		{
			name: "leaks", ways: []way{four(), dual()}, outdoor: true, faults: faults(plant.Fault{Kind: plant.Leak, Shunt: 15e3, Life: 45 * oneDay}),
			first: []string{"insulation-leak"}, by: 30, final: []string{"insulation-leak maintenance"},
		},
	}
}

// wiringChronicles are of leads that are open, joined, or longer than they were.
func wiringChronicles() []chronicle {
	const b1 = measure.B1
	bridge := faults(plant.Fault{Kind: plant.Short, Lead: b1})
	return []chronicle{
		{ // beside its cause
			name: "past what the device works with", ways: []way{four()}, limit: 0.56, faults: faults(plant.Fault{Kind: plant.Linear, Lead: b1, Size: 0.15, Life: 60 * oneDay}),
			first: []string{"lead-drift"}, by: 7, leads: "b1", final: []string{"lead-drift out-of-spec", "lead-limit out-of-spec"},
		},
		{
			name: "a longer cable than the device works with", ways: []way{four()}, days: 15, limit: 0.56, faults: faults(plant.Fault{Kind: plant.Recabled, Size: 0.15}),
			first: []string{"lead-limit"}, by: 1, leads: "a1 a2 b1 b2", final: []string{"lead-limit out-of-spec"}, notes: []string{"cable-changed"},
		},
		{
			name: "rubbish", ways: []way{four()}, days: 20, faults: rubbish(),
			first: []string{"implausible"}, by: 12, final: []string{"implausible maintenance"},
		},
		{
			name: "opens", ways: []way{four(), dual()}, days: 3, faults: faults(plant.Fault{Kind: plant.Open, Lead: b1}),
			first: []string{"lead-open"}, by: 0.1, leads: "b1", final: []string{"lead-open failure"},
		},
		{ // an input that goes on without b2
			name: "opens unnoticed", ways: []way{pairs()}, days: 3, faults: faults(plant.Fault{Kind: plant.Open, Lead: measure.B2}),
			first: []string{"lead-open"}, by: 0.3, leads: "b2", final: []string{"lead-open failure"},
		},
		{
			name: "a side bridged", ways: []way{four()}, days: 5, faults: bridge,
			first: []string{"not-four-wire"}, by: 1, leads: "b1 b2", final: []string{"not-four-wire out-of-spec"},
		},
		{
			name: "a side bridged of sums", ways: []way{sums()}, days: 5, faults: bridge,
			first: []string{"not-four-wire"}, by: 1, final: []string{"not-four-wire maintenance"},
		},
		{
			name: "two of three bridged", ways: []way{dual()}, days: 5, faults: bridge,
			first: []string{"imbalance"}, by: 0.1, leads: "b1 b2", final: []string{"imbalance out-of-spec", "lead-short out-of-spec"},
		},
		{
			name: "both pairs bridged", ways: []way{pairs()}, days: 5, faults: bridge,
			first: []string{"lead-short"}, by: 1, leads: "b1 b2", final: []string{"lead-short maintenance"},
		},
		{ // nobody can know on the first day
			name: "one lead longer", ways: []way{four()}, days: 30, outdoor: true, faults: faults(plant.Fault{Kind: plant.Extended, Lead: b1, Size: 0.1}),
			first: []string{"lead-step"}, by: 4, leads: "b1", notes: []string{"cable-changed"},
		},
	}
}

// rubbish is a device that shows wrong values in one poll of fifty.
func rubbish() (list []plant.Fault) {
	for lead := measure.A1; lead <= measure.B2; lead++ { // each has its own chance
		for s := range 3 {
			list = append(list, plant.Fault{Kind: plant.Garbled, Lead: lead, Onset: chronicleOnset.Add(time.Duration(s) * time.Second)})
		}
	}
	return list
}

// quietChronicles are of what is no fault of the loop.
func quietChronicles() []chronicle {
	const b1 = measure.B1
	return []chronicle{
		{name: "a season", ways: []way{dual(), pairs()}, days: 90, outdoor: true},
		{name: "another cable", ways: []way{four(), pairs()}, days: 15, outdoor: true, faults: faults(plant.Fault{Kind: plant.Recabled, Size: 0.15}), notes: []string{"cable-changed"}},
		{name: "coarser values", ways: []way{dual(), pairs()}, days: 15, outdoor: true, faults: faults(plant.Fault{Kind: plant.Coarser, Size: 0.01}), notes: []string{"device-changed"}},
		{name: "recalibrated", ways: []way{dual()}, days: 15, faults: faults(plant.Fault{Kind: plant.Recalibrated, Size: 0.003})},
		{
			name: "retightened", ways: []way{four(), pairs()}, days: 15, notes: []string{"lead-restored"},
			faults: faults(plant.Fault{Kind: plant.Step, Lead: b1, Size: 0.03, Onset: chronicleOnset.Add(-200 * oneDay), End: chronicleOnset}),
		},
		{
			name: "swapped", ways: []way{four(), dual()}, days: 15, notes: []string{"leads-swapped"}, // of which one was always longer
			faults: faults(plant.Fault{Kind: plant.Extended, Lead: b1, Size: 0.02, Onset: chronicleOnset.Add(-200 * oneDay)}, plant.Fault{Kind: plant.Swap, Lead: b1}),
		},
		{name: "swapped pairs", ways: []way{pairs()}, days: 15, faults: faults(plant.Fault{Kind: plant.Swap, Lead: b1})},
		{name: "settles", ways: []way{dual(), pairs()}, days: 20, faults: faults(plant.Fault{Kind: plant.Settling, Lead: b1, Size: 0.03, Life: 5 * oneDay})},
		{name: "bursts of noise", ways: []way{dual(), pairs()}, faults: faults(plant.Fault{Kind: plant.Bursts, Size: 0.02})},
		{name: "bad communication", ways: []way{four(), pairs()}, days: 45, faults: faults(plant.Fault{Kind: plant.Flaky}, plant.Fault{Kind: plant.Garbled})},
		{name: "the element drifts", ways: []way{dual()}, days: 30, faults: faults(plant.Fault{Kind: plant.SensorDrift, Size: 0.1, Life: 60 * oneDay})},
		{name: "a line beside the cable", ways: []way{dual(), pairs()}, days: 30, faults: faults(plant.Fault{Kind: plant.HotLine, Lead: b1, Warm: 25})},
		{name: "a line beside one core", ways: []way{four(), pairs()}, days: 30, faults: faults(plant.Fault{Kind: plant.HotCore, Lead: b1, Warm: 40})},
	}
}

// retold records the registers of a plant from the baseline to its start and
// replays them. The loops have one profile.
func retold(t *testing.T, conf plant.Config) (*plant.Plant, []saying) {
	t.Helper()
	p, err := plant.New(conf)
	if err != nil {
		t.Fatal(err)
	}
	d, err := conf.Loops[0].Profile.Compile()
	if err != nil {
		t.Fatal(err)
	}
	r := recorder{plant: p, decoder: d}
	var specs []*diagnostics.Spec
	for i := range conf.Loops {
		s := &conf.Loops[i].Spec
		r.tags, specs = append(r.tags, s.Tag), append(specs, s)
	}
	return p, replayed(t, r.record(chronicleOnset.Add(-baselineDays*oneDay), conf.Start), specs)
}

// tell records and replays the chronicle and holds what is said against it.
func (c chronicle) tell(t *testing.T, w way, seed uint64) {
	spec := plant.StorySpec(w.method, w.reports)
	spec.Tag, spec.Service, spec.Outdoor, spec.LeadLimit = "TT-1", c.service, c.outdoor, cmp.Or(c.limit, spec.LeadLimit)
	end := chronicleOnset.Add(time.Duration(cmp.Or(c.days, chronicleDays)) * oneDay)
	conf := plant.Config{Seed: seed, Start: end, Loops: []plant.Loop{{Spec: spec, Link: -1, Profile: storyRegisters()}}}
	for _, f := range c.faults {
		if f.Onset.IsZero() {
			f.Onset = chronicleOnset
		}
		conf.Faults = append(conf.Faults, plant.Placed{Fault: f})
	}
	p, said := retold(t, conf)
	if w == sums() { // nobody sees which
		c.leads = ""
	}
	c.checkFirst(t, said, crossed(p, &spec, end))
	c.checkRest(t, said)
	if t.Failed() {
		for i := range said {
			if said[i].State != "updated" {
				t.Logf("day %.2f: %s", daysAfter(said[i].Time), &said[i])
			}
		}
	}
}

// daysAfter returns the days since the onset.
func daysAfter(at time.Time) float64 { return at.Sub(chronicleOnset).Hours() / 24 }

// crossed returns when the true error had been beyond a limit for 5 % of a day, the
// end of the record if it never was.
func crossed(p *plant.Plant, spec *diagnostics.Spec, end time.Time) time.Time {
	var beyond [24]bool
	for h, at := 0, chronicleOnset; at.Before(end); h, at = h+1, at.Add(time.Hour) {
		e := p.Truth(0, at).Error
		beyond[h%24] = !(e <= spec.LimitHigh && e >= spec.LimitLow) && quantity.Known(e)
		if n := len(slices.DeleteFunc(slices.Clone(beyond[:]), func(b bool) bool { return !b })); n > 1 {
			return at
		}
	}
	return end
}

// checkFirst holds the first finding above info against what it should be. What
// grows must be found before the error is beyond the limit.
func (c *chronicle) checkFirst(t *testing.T, said []saying, crossing time.Time) {
	i := slices.IndexFunc(said, func(s saying) bool { return s.Severity != "info" })
	switch {
	case len(c.first) == 0 && i >= 0:
		t.Errorf("want nothing above info, got %s", &said[i])
		return
	case len(c.first) == 0:
		return
	case i < 0:
		t.Errorf("nothing above info was said, want %v", c.first)
		return
	}
	s := &said[i]
	if !slices.Contains(c.first, s.Kind) || s.Time.Before(chronicleOnset) || daysAfter(s.Time) > c.by {
		t.Errorf("first on day %.2f: %s; want %v by day %g", daysAfter(s.Time), s, c.first, c.by)
	}
	if grows := c.faults[0].Life > 0; grows && !s.Time.Before(crossing) {
		t.Errorf("first on day %.2f, the limit was passed on day %.2f", daysAfter(s.Time), daysAfter(crossing))
	}
}

// checkRest holds kinds, leads, notes and what stands in the end against what they
// should be.
func (c *chronicle) checkRest(t *testing.T, said []saying) {
	stands, told := map[string]string{}, map[string]bool{}
	for i := range said {
		s := &said[i]
		switch {
		case s.Severity == "info":
			told[s.Kind] = true
			continue
		case s.State == "cleared":
			delete(stands, s.Kind)
			continue
		}
		stands[s.Kind] = s.Kind + " " + s.Severity
		of := func(list []string) bool {
			return slices.ContainsFunc(list, func(k string) bool { return strings.Fields(k)[0] == s.Kind })
		}
		if !of(c.first) && !of(c.final) && !of(c.pass) {
			t.Errorf("%s is said: %s", s.Kind, s)
		}
		for _, l := range s.Leads {
			if !slices.Contains(strings.Fields(c.leads), l) {
				t.Errorf("%s is sound: %s", l, s)
			}
		}
	}
	if got := sorted(stands); !slices.Equal(got, c.final) {
		t.Errorf("in the end stands %v, want %v", got, c.final)
	}
	for _, n := range c.notes {
		if !told[n] {
			t.Errorf("nobody notes %s", n)
		}
		delete(told, n)
	}
	for n := range told {
		t.Errorf("notes %s", n)
	}
	c.checkLeads(t, said)
}

// checkLeads wants each lead to be named by the last finding above info that names
// any.
func (c *chronicle) checkLeads(t *testing.T, said []saying) {
	var last []string
	for i := range said {
		if s := &said[i]; s.Severity != "info" && s.State != "cleared" && len(s.Leads) > 0 {
			last = s.Leads
		}
	}
	if !slices.Equal(last, strings.Fields(c.leads)) {
		t.Errorf("%v named in the end, want %s", last, c.leads)
	}
}

func sorted(m map[string]string) []string {
	var list []string
	for _, v := range m {
		list = append(list, v)
	}
	slices.Sort(list)
	return list
}
