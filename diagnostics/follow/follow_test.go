package follow

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unsafe"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

var start = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// spec is a three-wire Pt100 with a limit of ±0.3 °C, about 0.117 Ω.
func spec(t testing.TB) *diagnostics.Spec {
	t.Helper()
	sensor, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	n := quantity.Absent
	return &diagnostics.Spec{
		Tag: "TT-1", Wires: 3, Method: wiring.ThreeWireDual, Reports: wiring.AllLeads, Sensor: sensor, Class: rtd.ClassA,
		Fixed: quantity.Ohm(n), LimitHigh: 0.3, LimitLow: -0.3, LeadLimit: quantity.Ohm(n), Calibrated: diagnostics.CalibratedNever,
		Cable20: 0.5, CableM: 30, Interval: time.Second, Accuracy: diagnostics.NoAccuracy(),
	}
}

func newLoop(t testing.TB) *Loop {
	t.Helper()
	l, err := New(spec(t))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// sample has a1 above the others by so many Ω.
func sample(at time.Time, extra float64) measure.Sample {
	s := measure.Empty(at, measure.Good)
	s.Leads[measure.A1], s.Leads[measure.B1], s.Leads[measure.B2] = quantity.Ohm(0.5+extra), 0.5, 0.5
	s.Sensor = quantity.Ohm(109.735 + extra)
	return s
}

func imbalances(fs []finding.Finding) (out []finding.Finding) {
	for _, f := range fs {
		if f.Kind == finding.Imbalance {
			out = append(out, f)
		}
	}
	return out
}

func TestImbalanceIsHeldBack(t *testing.T) {
	l, at := newLoop(t), start
	var said []finding.Finding
	feed := func(extra float64, n int) []finding.Finding {
		said = said[:0]
		for range n {
			s := sample(at, extra)
			_, said = l.Step(&s, nil, said)
			at = at.Add(time.Second)
		}
		return imbalances(said)
	}
	if got := feed(0.02, 120); len(got) != 0 {
		t.Fatalf("0.05 °C of 0.3 told %v", got)
	}
	if got := feed(0.15, 60); len(got) != 0 {
		t.Fatalf("told after 59 s, want 60 s: %v", got)
	}
	onset := at.Add(-60 * time.Second)
	got := feed(0.15, 5)
	if len(got) != 1 || got[0].State != finding.Raised || !got[0].Since.Equal(onset) {
		t.Fatalf("after 60 s: %v, want one raised since %v", got, onset)
	}
	if !got[0].Leads.Has(measure.A1) || got[0].POverLimit < 0.95 {
		t.Errorf("leads %v, P %.2f; want a1, over 0.95", got[0].Leads.Names(), got[0].POverLimit)
	}
	// Just below the limit is not gone: 0.117 Ω is 0.3 °C at 25 °C.
	if got := feed(0.115, 300); len(got) != 0 {
		t.Fatalf("cleared on the limit: %v", got)
	}
	if got := feed(0.02, 59); len(got) != 0 {
		t.Fatalf("cleared before 60 s: %v", got)
	}
	if got := feed(0.02, 5); len(got) != 1 || got[0].State != finding.Cleared {
		t.Fatalf("not cleared after 60 s: %v", got)
	}
}

func TestBadSamplesNeverClear(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l, at := newLoop(t), start
		var said []finding.Finding
		for range 70 {
			s := sample(at, 0.2)
			_, said = l.Step(&s, nil, said[:0])
			at = at.Add(time.Second)
		}
		if !l.held[heldIndex(finding.Imbalance)].open {
			rt.Fatal("0.5 °C over 70 s was not told")
		}
		bad := rapid.SliceOfN(rapid.Uint8Range(2, 9), 200, 200).Draw(rt, "qualities")
		for _, q := range bad {
			s := measure.Empty(at, measure.Quality(q))
			if _, said = l.Step(&s, nil, said[:0]); len(imbalances(said)) != 0 {
				rt.Fatalf("quality %s said %v", measure.Quality(q), said)
			}
			at = at.Add(time.Second)
		}
	})
}

func TestOneKindIsToldOnce(t *testing.T) {
	l := newLoop(t)
	i := heldIndex(finding.NotFourWire)
	l.held[i] = held{open: true}
	engine := []finding.Finding{{Kind: finding.NotFourWire, State: finding.Raised}, {Kind: finding.LeadDrift, State: finding.Raised}}
	if got := l.merge(engine, 0); len(got) != 1 || got[0].Kind != finding.LeadDrift {
		t.Fatalf("told %v, want the drift alone", got)
	}
	l.held[i] = held{}
	cleared := []finding.Finding{{Kind: finding.NotFourWire, State: finding.Cleared}}
	if got := l.merge(cleared, 0); len(got) != 1 {
		t.Fatalf("the engine's clear was swallowed: %v", got)
	}
}

// The conditions are told apart by their place alone.
func TestHeldKindsAreThoseOfCheck(t *testing.T) {
	if want := diagnostics.CheckKinds(); !slices.Equal(heldKinds[:], want) {
		t.Errorf("%v are held, Check finds %v", heldKinds, want)
	}
}

func TestResumeTellsNothingAgain(t *testing.T) {
	l, at := newLoop(t), start
	l.Resume([]finding.Finding{{Kind: finding.Imbalance, Engine: diagnostics.CheckEngine, Loop: "TT-1"}})
	var said []finding.Finding
	for range 120 {
		s := sample(at, 0.2)
		if _, said = l.Step(&s, nil, said[:0]); len(imbalances(said)) != 0 {
			t.Fatalf("told again after a restart: %v", said)
		}
		at = at.Add(time.Second)
	}
}

func TestStateIsSmall(t *testing.T) {
	const most = 6 << 10 // the design's bound for a loop's whole diagnostic state
	if n := unsafe.Sizeof(Loop{}) + unsafe.Sizeof(diagnostics.Loop{}) + unsafe.Sizeof(drift.Engine{}); n > most {
		t.Fatalf("%d bytes a loop, want at most %d", n, most)
	}
}

func TestASoundSampleAllocatesNothing(t *testing.T) {
	l, at := newLoop(t), start
	s := sample(at, 0.001)
	out := make([]finding.Finding, 0, 8)
	n := testing.AllocsPerRun(2000, func() {
		s.At = s.At.Add(time.Second)
		_, out = l.Step(&s, nil, out[:0])
	})
	if n != 0 {
		t.Fatalf("%g allocations a sample, want 0", n)
	}
}

func TestNewSaysWhichLoop(t *testing.T) {
	bad := spec(t)
	bad.Wires = 7
	if _, err := New(bad); err == nil || !strings.Contains(err.Error(), "TT-1") {
		t.Fatalf("error %v does not name the loop", err)
	}
}

func BenchmarkStep(b *testing.B) {
	l := newLoop(b)
	s := sample(start, 0.001)
	out := make([]finding.Finding, 0, 8)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		s.At = s.At.Add(10 * time.Minute)
		s.Leads[measure.B1] = quantity.Ohm(0.5 + 0.001*math.Sin(float64(i)))
		_, out = l.Step(&s, nil, out[:0])
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}
