package plant

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

var start = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// mixed returns n loops of every wiring, method and report level over boxes of
// five, not served.
func mixed(n int) []Loop {
	combos := []struct {
		m wiring.Method
		r wiring.Reports
	}{
		{wiring.FourWire, wiring.AllLeads},
		{wiring.ThreeWireDual, wiring.AllLeads},
		{wiring.ThreeWireLoop, wiring.AllLeads},
		{wiring.ThreeWireHalf, wiring.PairsOnly},
		{wiring.FourWire, wiring.LoopsOnly},
		{wiring.TwoWire, wiring.ReadingOnly},
		{wiring.ThreeWireDual, wiring.AllLeads},
		{wiring.FourWire, wiring.AllLeads},
		{wiring.ThreeWireLoop, wiring.PairsOnly},
		{wiring.DeviceCorrected, wiring.AllLeads},
	}
	services := []string{"batch", "steady", "cold store", "chilled water", "clean steam", "incubator"}
	loops := make([]Loop, n)
	for i := range loops {
		c := combos[i%len(combos)]
		s := StorySpec(c.m, c.r)
		s.Tag, s.Box = fmt.Sprintf("TT-%d", 1000+i), fmt.Sprintf("JB-%d", i/10)
		s.Service, s.Outdoor = services[i%len(services)], i%3 == 0
		loops[i] = Loop{Spec: s, Link: -1}
	}
	return loops
}

func mustNew(t testing.TB, c Config) *Plant {
	t.Helper()
	p, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func past(p *Plant, loop int, days int) []measure.Sample {
	from := p.Start().Add(-time.Duration(days) * 24 * time.Hour)
	return slices.Collect(p.Past(loop, from, p.Start(), 10*time.Minute))
}

// printed makes samples comparable: NaN equals NaN.
func printed(samples []measure.Sample) []string {
	out := make([]string, len(samples))
	for i := range samples {
		out[i] = fmt.Sprintf("%v", samples[i])
	}
	return out
}

func TestSameSeedSameStory(t *testing.T) {
	conf := Config{Seed: 7, Start: start, Loops: mixed(60), Chosen: true}
	a, b := mustNew(t, conf), mustNew(t, conf)
	if d := cmp.Diff(a.Degrading(), b.Degrading()); d != "" {
		t.Errorf("the same seed chose other faults: %s", d)
	}
	for i := range a.Loops() {
		if d := cmp.Diff(printed(past(a, i, 2)), printed(past(b, i, 2))); d != "" {
			t.Fatalf("loop %d tells two stories: %s", i, d)
		}
	}
}

func TestOtherSeedOtherLoops(t *testing.T) {
	tags := func(seed uint64) []string {
		var out []string
		for _, d := range mustNew(t, Config{Seed: seed, Start: start, Loops: mixed(60), Chosen: true}).Degrading() {
			out = append(out, d.Tag)
		}
		slices.Sort(out)
		return out
	}
	first := tags(1)
	if len(first) < 10 || len(first) > 16 { // 12 scenarios, one of them a box with up to four
		t.Errorf("%d of 60 loops are bad; want about a dozen", len(first))
	}
	if len(slices.Compact(slices.Clone(first))) != len(first) {
		t.Errorf("a loop was chosen twice: %v", first)
	}
	for seed := uint64(2); seed < 6; seed++ {
		if slices.Equal(first, tags(seed)) {
			t.Errorf("seeds 1 and %d choose the same loops %v", seed, first)
		}
	}
}

// A loop's story depends on its own tag: another loop beside it changes nothing.
func TestStoryDoesNotDependOnNeighbours(t *testing.T) {
	loops := mixed(12)
	all := mustNew(t, Config{Seed: 3, Start: start, Loops: loops})
	few := mustNew(t, Config{Seed: 3, Start: start, Loops: loops[5:]})
	if d := cmp.Diff(printed(past(all, 7, 1)), printed(past(few, 2, 1))); d != "" {
		t.Error(d)
	}
}

// The daily swing of the leads is copper's: (dr/dT)/r = 0.0039 /K, whatever
// noise and resolution do to single samples (least squares over 30 days; at
// 20 °C α is 0.00393, at −5 °C 0.00436, at 30 °C 0.00378).
func TestLeadsFollowCopper(t *testing.T) {
	loops := mixed(10)
	loops[0].Outdoor = true
	p := mustNew(t, Config{Seed: 5, Start: start, Loops: loops})
	for _, lead := range measure.LeadsOf(4) {
		var n, sx, sy, sxx, sxy float64
		for _, s := range past(p, 0, 30) {
			x, y := float64(p.Truth(0, s.At).Copper)-20, float64(s.Leads[lead])
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		at20 := (sy - slope*sx) / n
		if alpha := slope / at20; math.Abs(alpha-0.00393) > 0.0001 {
			t.Errorf("%s: %.5f /K around %.4f Ω, want 0.0039 /K", lead, alpha, at20)
		}
		if swing := math.Sqrt(sxx/n - sx*sx/n/n); swing < 3 {
			t.Errorf("the outdoor cable swings %.1f K (standard deviation): nothing to see", swing)
		}
	}
}

// What is reported is the truth plus the device's own limits.
func TestReportsTheTruthWithinItsDataSheet(t *testing.T) {
	p := mustNew(t, Config{Seed: 2, Start: start, Loops: mixed(20)})
	for i := range p.Loops() {
		for _, s := range past(p, i, 1) {
			truth := p.Truth(i, s.At)
			for lead, r := range s.Leads {
				// ±5 mΩ data sheet (half of it used), noise up to 3.5·0.4 mΩ, step 1 mΩ
				if d := float64(r - truth.Leads[lead]); math.Abs(d) > 0.0025+0.0014+0.0005 {
					t.Fatalf("loop %d lead %d at %v: reports %g Ω, has %g", i, lead, s.At, r, truth.Leads[lead])
				}
			}
			// noise of 0.8 mΩ on at least 0.37 Ω/K, step 0.01 °C
			if d := float64(s.Reading) - float64(truth.Process) - float64(truth.SinceCal); math.Abs(d) > 0.0028/0.37+0.005 || math.IsNaN(d) {
				t.Fatalf("loop %d at %v: indicates %g °C, truth %g and error %g", i, s.At, s.Reading, truth.Process, truth.SinceCal)
			}
		}
	}
}

func TestReportLevelHidesLeads(t *testing.T) {
	loops := mixed(10)
	p := mustNew(t, Config{Seed: 1, Start: start, Loops: loops})
	for i, l := range loops {
		s := p.SampleAt(i, start)
		var got []string
		for lead, r := range s.Leads {
			if !math.IsNaN(float64(r)) {
				got = append(got, measure.Lead(lead).String())
			}
		}
		if !math.IsNaN(float64(s.LoopA)) {
			got = append(got, "loop_a")
		}
		if !math.IsNaN(float64(s.LoopB)) {
			got = append(got, "loop_b")
		}
		var want []string
		switch {
		case l.Reports == wiring.AllLeads:
			for _, lead := range measure.LeadsOf(l.Wires) {
				want = append(want, lead.String())
			}
		case l.Reports == wiring.PairsOnly:
			want = []string{"b1", "b2"}
		case l.Reports == wiring.LoopsOnly:
			want = []string{"loop_a", "loop_b"}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d wires, %s: shows %v, want %v", l.Wires, l.Reports, got, want)
		}
	}
}

// A loop calibrated with its leads in circuit has their imbalance trimmed out of
// the indication.
func TestLeadsInCalibrationTrims(t *testing.T) {
	loops := mixed(2)
	l := StorySpec(wiring.TwoWire, wiring.ReadingOnly)
	l.Tag, l.Calibrated = "TT-9", diagnostics.LeadsIn
	p := mustNew(t, Config{Seed: 1, Start: start, Loops: append(loops, Loop{Spec: l, Link: -1})})
	truth := p.Truth(2, start)
	if truth.Error < 2 { // two leads of 0.5 Ω: 2.6 K
		t.Errorf("the leads of a two-wire loop do %.3f K, want 2.6", truth.Error)
	}
	if math.Abs(float64(truth.SinceCal)) > 0.1 {
		t.Errorf("after the trim %.3f K are left, want less than 0.1", truth.SinceCal)
	}
}

func TestSpeedAgesOnlyContacts(t *testing.T) {
	loops := mixed(3)
	for i := range loops {
		loops[i].Outdoor = true
	}
	f := []Placed{{Loop: 0, Fault: Fault{Kind: Linear, Lead: measure.A1, Size: 0.1, Life: 10 * hours24, Onset: start.Add(-5 * hours24)}}}
	slow := mustNew(t, Config{Seed: 1, Start: start, Loops: loops, Faults: f})
	fast := mustNew(t, Config{Seed: 1, Start: start, Loops: loops, Faults: f, Speed: 86400})
	for _, c := range []struct {
		after      time.Duration
		slow, fast float64 // Ω: half of 0.1 at Start, then 0.1 per 10 days of age
	}{
		{-hours24, 0.04, 0.04},
		{0, 0.05, 0.05},
		{10 * time.Second, 0.05 + 0.1*10/864000, 0.15},
	} {
		at := start.Add(c.after)
		a, b := slow.Truth(0, at), fast.Truth(0, at)
		sound := slow.loops[0].contact0[measure.A1]
		if got := float64(a.Contact[measure.A1]) - sound; math.Abs(got-c.slow) > 1e-9 {
			t.Errorf("%v, real time: contact %.7f Ω, want %.7f", c.after, got, c.slow)
		}
		if got := float64(b.Contact[measure.A1]) - sound; math.Abs(got-c.fast) > 1e-9 {
			t.Errorf("%v, one day a second: contact %.7f Ω, want %.7f", c.after, got, c.fast)
		}
		if a.Process != b.Process || a.Copper != b.Copper || a.Wet != b.Wet {
			t.Errorf("%v: speed changed process or weather: %+v, %+v", c.after, a, b)
		}
	}
}

// A fault that begins live is as old as the plant has run since, times Speed.
func TestLiveOnsetAgesFromItsOwnMoment(t *testing.T) {
	f := []Placed{{Loop: 0, Fault: Fault{Kind: Linear, Lead: measure.A1, Size: 0.1, Life: 10 * hours24, Onset: start.Add(time.Minute)}}}
	p := mustNew(t, Config{Seed: 1, Start: start, Loops: mixed(3), Faults: f, Speed: 86400})
	sound := p.loops[0].contact0[measure.A1]
	for after, want := range map[time.Duration]float64{59 * time.Second: 0, time.Minute: 0, 65 * time.Second: 0.05} {
		if got := float64(p.Truth(0, start.Add(after)).Contact[measure.A1]) - sound; math.Abs(got-want) > 1e-9 {
			t.Errorf("%v after the start, onset at 1 min: %.6f Ω, want %.6f", after, got, want)
		}
	}
}

// Within a device cycle every request sees the same values; the next has others.
func TestValuesHoldForADeviceCycle(t *testing.T) {
	fast := []Placed{{Fault: Fault{Kind: Linear, Lead: measure.A1, Size: 0.1, Life: hours24}}} // 0.1 Ω a second
	p := mustNew(t, Config{Seed: 1, Start: start, Loops: mixed(1), Faults: fast, Speed: 86400, Cycle: time.Second})
	at := func(d time.Duration) [10]uint64 { return bits(p.SampleAt(0, start.Add(d))) }
	if at(0) != at(time.Second-1) {
		t.Error("values changed within a cycle")
	}
	if at(0) == at(time.Second) {
		t.Error("values did not change with the cycle")
	}
}

// Contacts do not jump when the recorded past ends and the live plant begins.
func TestPastAndLiveAreOneStory(t *testing.T) {
	p := mustNew(t, Config{Seed: 4, Start: start, Loops: mixed(60), Chosen: true, Speed: 3600})
	for i := range p.Loops() {
		a, b := p.Truth(i, start.Add(-time.Second)), p.Truth(i, start.Add(time.Second))
		for lead := range a.Contact {
			before, after := float64(a.Contact[lead]), float64(b.Contact[lead])
			if math.Abs(after-before) > 0.01 && !intermittentOrNoisy(p, i) {
				t.Errorf("loop %d lead %d: contact %.4f Ω before, %.4f after the start", i, lead, before, after)
			}
		}
		if math.Abs(float64(a.Process-b.Process)) > 0.1 || math.Abs(float64(a.Copper-b.Copper)) > 0.05 {
			t.Errorf("loop %d: process %.2f → %.2f, copper %.2f → %.2f °C", i, a.Process, b.Process, a.Copper, b.Copper)
		}
	}
}

func intermittentOrNoisy(p *Plant, loop int) bool {
	return slices.ContainsFunc(p.Degrading(), func(d Placed) bool {
		return d.Loop == loop && (d.Kind == Intermittent || d.Kind == Noise)
	})
}

func TestRefusesWhatItCannotBuild(t *testing.T) {
	good := mixed(1)[0]
	noSensor, wires, badLink := good, good, good
	noSensor.Sensor = rtd.Sensor{}
	wires.Wires = 5
	badLink.Link = 3
	for name, c := range map[string]Config{
		"negative speed": {Loops: []Loop{good}, Speed: -1},
		"no sensor":      {Loops: []Loop{noSensor}},
		"five wires":     {Loops: []Loop{wires}},
		"no such link":   {Loops: []Loop{badLink}},
		"no such loop":   {Loops: []Loop{good}, Faults: []Placed{{Loop: 1}}},
	} {
		if _, err := New(c); err == nil {
			t.Errorf("%s: built a plant", name)
		}
	}
}

func BenchmarkPast(b *testing.B) { // one sample of the recorded past, over all kinds of loops
	p := mustNew(b, Config{Seed: 1, Start: start, Loops: mixed(60), Chosen: true})
	b.ReportAllocs()
	i, at := 0, start.Add(-120*hours24)
	for b.Loop() {
		_ = p.SampleAt(i, at)
		if i++; i == 60 {
			i, at = 0, at.Add(10*time.Minute)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}
