package plant

import (
	"fmt"
	"math"
	"testing"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

func story(t testing.TB, kind Kind, m wiring.Method) *Plant {
	t.Helper()
	p, err := Story(kind, 11, start, StorySpec(m, wiring.AllLeads))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// bits makes a sample comparable: NaN equals NaN.
func bits(s measure.Sample) (b [10]uint64) {
	for i, v := range [...]float64{
		float64(s.Quality), float64(s.Leads[0]), float64(s.Leads[1]), float64(s.Leads[2]), float64(s.Leads[3]),
		float64(s.Sensor), float64(s.Reading), float64(s.DeviceTemp), s.Cycle, float64(s.LoopB),
	} {
		b[i] = math.Float64bits(v)
	}
	return b
}

// Each kind shows in the samples of its loop, from its onset on and not before,
// and nowhere else.
func TestStoriesShowTheirFault(t *testing.T) {
	onset := start.Add(-StoryPast / 2)
	sound := story(t, Sound, wiring.ThreeWireDual)
	for _, kind := range Kinds()[1:] {
		p := story(t, kind, wiring.ThreeWireDual)
		bad := 1
		if kind == Moisture {
			bad = 3
		}
		for i := range p.Loops() {
			before, after := 0, 0
			for at := start.Add(-StoryPast); at.Before(start); at = at.Add(6 * time.Hour) {
				if bits(p.SampleAt(i, at)) == bits(sound.SampleAt(i, at)) {
					continue
				}
				if at.Before(onset) {
					before++
				} else {
					after++
				}
			}
			if before != 0 {
				t.Errorf("%s, loop %d: %d samples differ from a sound plant's before the onset", kind, i, before)
			}
			if (after > 0) != (i < bad) {
				t.Errorf("%s, loop %d: %d samples differ after the onset", kind, i, after)
			}
		}
	}
}

// What the stories do to the lead that has the fault, at their end.
func TestStorySizes(t *testing.T) {
	for _, c := range []struct {
		kind      Kind
		low, high float64 // Ω beyond the sound contact
	}{
		{Linear, 0.2, 0.2},
		{Film, 0.2, 0.2},
		{TakeOff, 0.4144, 0.4146}, // 0.03·(1/(1 − √(20/23)) − 1) = 0.4145
		{Step, 0.24, 0.24},
		{Moisture, 0.03, 0.3}, // dry to wet
		{Thermal, 0.05, 0.35},
		{Settling, 0, 0.001}, // 0.02·e⁻⁶
		{Open, math.Inf(1), math.Inf(1)},
		{Extended, 0, 0},
	} {
		p := story(t, c.kind, wiring.FourWire)
		lead := p.Degrading()[0].Lead
		got := float64(p.Truth(0, start).Contact[lead]) - p.loops[0].contact0[lead]
		if got < c.low-1e-9 || got > c.high+1e-9 {
			t.Errorf("%s: %.4f Ω beyond the sound contact, want %g to %g", c.kind, got, c.low, c.high)
		}
	}
}

// Harmless kinds leave the reading's wiring error where it was, within what an
// added length of copper does to a method that is not blind to it.
func TestHarmlessKindsLeaveFourWireReadingsAlone(t *testing.T) {
	for _, kind := range harmless() {
		p := story(t, kind, wiring.FourWire)
		if e := p.Truth(0, start).Error; math.Abs(float64(e)) > 1e-6 {
			t.Errorf("%s puts %.4f K into a four-wire reading", kind, e)
		}
		if !kind.Harmless() {
			t.Errorf("%s does not count as harmless", kind)
		}
	}
}

func TestExtendedLeadHasTheCoefficientOfCopper(t *testing.T) {
	p := story(t, Extended, wiring.ThreeWireDual)
	lead := p.Degrading()[0].Lead
	x := p.loops[0]
	for _, at := range []time.Time{start, start.Add(-12 * time.Hour)} {
		truth := p.Truth(0, at)
		want := (x.copper20[lead]+0.15)*(1+0.00393*(float64(truth.Copper)-20)) + x.contact0[lead]
		if got := float64(truth.Leads[lead]); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %.1f °C: %.6f Ω, want %.6f", truth.Copper, got, want)
		}
	}
}

func TestFlakyAnswersNineOfTen(t *testing.T) {
	p := story(t, Flaky, wiring.FourWire)
	lost := 0
	const n = 20000
	for i := range n {
		if p.SampleAt(0, start.Add(-time.Duration(i)*time.Second)).Quality == measure.Comms {
			lost++
		}
	}
	if share := float64(lost) / n; math.Abs(share-0.1) > 0.01 { // standard error 0.002
		t.Errorf("%.3f of the polls without an answer, want 0.1", share)
	}
}

func TestStoryRefusesAnUnknownKind(t *testing.T) {
	if _, err := Story("rust", 1, start, StorySpec(wiring.FourWire, wiring.AllLeads)); err == nil {
		t.Error("an unknown kind became a story")
	}
}

func ExampleStory() {
	p, err := Story(Linear, 1, start, StorySpec(wiring.FourWire, wiring.AllLeads))
	if err != nil {
		fmt.Println(err)
		return
	}
	bad := p.Degrading()[0]
	before, after := p.Truth(bad.Loop, start.Add(-StoryPast)), p.Truth(bad.Loop, start)
	fmt.Printf("%s %s on %s: %+.2f ohm\n", bad.Tag, bad.Kind, bad.Lead, after.Contact[bad.Lead]-before.Contact[bad.Lead])
	// Output: TT-1 linear on b2: +0.20 ohm
}

// What the registers of a loop hold, decoded by its profile, is its sample.
func TestRegistersHoldTheSample(t *testing.T) {
	l := Loop{Spec: StorySpec(wiring.ThreeWireDual, wiring.AllLeads), Link: -1, Profile: floats()}
	l.Tag = "TT-1"
	p := mustNew(t, Config{Seed: 1, Start: start, Loops: []Loop{l}})
	b, ok := p.Registers(0, start)
	got, err := l.Profile.Decode([][]byte{b}, start)
	if want := p.SampleAt(0, start); !ok || err != nil || fmt.Sprintf("%.6f", got.Leads) != fmt.Sprintf("%.6f", want.Leads) {
		t.Errorf("registers hold %v (answered %v, error %v), want %v", got.Leads, ok, err, want.Leads)
	}
	_ = p.Command(0, Fault{Kind: Silent, Onset: start})
	if _, ok := p.Registers(0, start); ok {
		t.Error("a silent device has registers")
	}
}

// A voltage in a lead looks like resistance: half of it at half of the life, and in
// proportion to the difference between head and box.
func TestJunctionLooksLikeResistance(t *testing.T) {
	p, sound := story(t, Junction, wiring.ThreeWireDual), story(t, Sound, wiring.ThreeWireDual)
	lead := p.Degrading()[0].Lead
	for back, share := range map[time.Duration]float64{0: 1, StoryPast / 4: 0.5} {
		at := start.Add(-back)
		truth := p.Truth(0, at)
		want := share * 2e-6 * headShare * float64(truth.Process-truth.Copper) / 0.0005
		if got := float64(truth.Leads[lead] - sound.Truth(0, at).Leads[lead]); math.Abs(got-want) > 1e-9 || want == 0 {
			t.Errorf("%v before the end: %.6f Ω more, want %.6f", back, got, want)
		}
		if d := truth.Contact[lead] - sound.Truth(0, at).Contact[lead]; d != 0 {
			t.Errorf("the contact changed by %g Ω", float64(d))
		}
	}
}

// A line warms one core, with flanks that ten minutes move by less than a third.
func TestHotCoreHasSoftFlanks(t *testing.T) {
	p, sound := story(t, HotCore, wiring.ThreeWireDual), story(t, Sound, wiring.ThreeWireDual)
	lead := p.Degrading()[0].Lead
	was, most, cold := 0.0, 0.0, 0
	for i := range 1000 {
		at := start.Add(time.Duration(i-1000) * 10 * time.Minute)
		a, b := p.Truth(0, at), sound.Truth(0, at)
		for k := range a.Leads {
			d := float64(a.Leads[k] - b.Leads[k])
			switch {
			case measure.Lead(k) != lead && d > 0:
				t.Fatalf("lead %d is warm as well", k)
			case measure.Lead(k) == lead:
				if i > 0 && math.Abs(d-was) > 0.34*40*0.5*copperPerK {
					t.Errorf("%v: from %.4f to %.4f Ω in ten minutes", at, was, d)
				}
				if was, most = d, max(most, d); d < 0.001 {
					cold++
				}
			}
		}
	}
	if most < 0.9*40*0.49*copperPerK || cold < 300 {
		t.Errorf("warmed by %.4f Ω at most, cold at %d of 1000 polls", most, cold)
	}
}
