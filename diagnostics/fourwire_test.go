package diagnostics_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// fourWire returns a four-wire loop with a lead accuracy and a stated cable.
func fourWire(t testing.TB, accuracy, cable quantity.Ohm) *diagnostics.Loop {
	s := spec(t, wiring.FourWire)
	s.Accuracy.Lead, s.Cable20, s.LimitHigh, s.LimitLow = accuracy, cable, 0.25, -0.25
	return newLoop(t, s)
}

// Connections that are not four-wire, as their leads look.
func TestFalseFourWire(t *testing.T) {
	none := quantity.Ohm(nan)
	tests := []struct {
		name  string
		cable quantity.Ohm
		leads measure.Leads
		is    wiring.Connection
		names string
		ohm   float64 // what the connection adds, from the circuit
	}{
		{"jumper, a2 not landed", none, measure.Leads{0.52, 0.006, 0.50, 0.51}, wiring.JumperA, "a2", 0.52},
		{"jumper, b1 not landed", none, measure.Leads{0.52, 0.50, 0.015, 0.51}, wiring.JumperB, "b1", 0.51},
		{"a lead at zero", none, measure.Leads{0.52, 0.50, 0.51, 0}, wiring.JumperB, "b2", 0.51},
		{"jumper on side A, both landed", none, measure.Leads{0.002, 0.001, 0.50, 0.51}, wiring.JumperALanded, "a1 a2", 0.2525},
		{"jumper on side B, both landed", none, measure.Leads{0.50, 0.51, 0.002, 0.004}, wiring.JumperBLanded, "b1 b2", 0.2525},
		{"two leads under one terminal", none, measure.Leads{0.30, 0.30, 0.60, 0.61}, wiring.JumperALanded, "a1 a2", 0.30},
		{"two leads under one terminal, side B", 0.6, measure.Leads{0.60, 0.61, 0.30, 0.30}, wiring.JumperBLanded, "b1 b2", 0.30},
		{"both sides jumpered", 0.6, measure.Leads{0.002, 0.003, 0.002, 0.001}, wiring.JumperBothLanded, "a1 a2 b1 b2", 0.6},
	}
	for _, c := range tests {
		l := fourWire(t, 0.005, c.cable)
		v := l.FalseFourWire(&c.leads)
		if v.Sound() || v.Connection != c.is || strings.Join(v.Leads.Names(), " ") != c.names || math.Abs(float64(v.Error)-c.ohm) > 0.005 {
			t.Errorf("%s: %+v, want %v, leads %s, %v Ω", c.name, v, c.is, c.names, c.ohm)
			continue
		}
		s := l.Spec()
		x := at(s, 80, c.leads)
		a := l.Assess(&x)
		found := l.Check(&x, &a, nil)
		if len(found) != 1 || found[0].Kind != finding.NotFourWire || found[0].Severity != finding.OutOfSpec || found[0].POverLimit != 1 {
			t.Errorf("%s: findings %+v", c.name, found)
			continue
		}
		if want := c.ohm / 0.38160; math.Abs(float64(found[0].Error)-want) > 0.02 { // slope at 80 °C
			t.Errorf("%s: error %v °C, want %.3f", c.name, found[0].Error, want)
		}
	}
}

// No false call on a true four-wire loop: leads of one cable with contacts that
// may have risen, or a transmitter in the head with leads of a few mΩ.
func TestNoFalseCallOnTrueFourWire(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		accuracy := rapid.SampledFrom([]float64{0.001, 0.005, 0.02, 0.05}).Draw(r, "accuracy")
		core := rapid.OneOf(rapid.Float64Range(0.001, 0.02), rapid.Float64Range(0.02, 0.5), rapid.Float64Range(0.5, 20)).Draw(r, "core")
		stated := quantity.Ohm(nan)
		if rapid.Bool().Draw(r, "stated") {
			stated = quantity.Ohm(core * rapid.Float64Range(0.9, 1.1).Draw(r, "drawing"))
		}
		l := fourWire(t, quantity.Ohm(accuracy), stated)
		var leads measure.Leads
		head := core < 0.02 // a transmitter in the head: each lead is mostly its terminals
		for i := range leads {
			if head {
				core = rapid.Float64Range(0.0005, 0.02).Draw(r, "short lead")
			}
			v := core*(1+rapid.Float64Range(-0.025, 0.025).Draw(r, "spread")) + rapid.Float64Range(0, 0.004).Draw(r, "terminals")
			leads[i] = quantity.Ohm(math.Round((v+accuracy*rapid.Float64Range(-1, 1).Draw(r, "wrong"))*1000) / 1000)
		}
		if rapid.Bool().Draw(r, "degraded") {
			leads[rapid.IntRange(0, 3).Draw(r, "which")] += quantity.Ohm(rapid.Float64Range(0, 30).Draw(r, "contact"))
		}
		if v := l.FalseFourWire(&leads); !v.Sound() {
			r.Fatalf("leads %v (cable %.4f, stated %v, accuracy %v): %s", leads, core, stated, accuracy, v.Evidence)
		}
	})
}

// series returns n samples of four leads that follow the daily swing of copper.
func series(s *diagnostics.Spec, n int, copy bool) []measure.Sample {
	rng := rand.New(rand.NewPCG(4, 4))
	out := make([]measure.Sample, n)
	for i := range out {
		swing := 1 + 0.0393*math.Sin(2*math.Pi*float64(i)/144)
		lead := func(r float64) quantity.Ohm {
			return quantity.Ohm(math.Round((r*swing+0.0005*rng.NormFloat64())*1000) / 1000)
		}
		x := at(s, 80, measure.Leads{lead(0.500), lead(0.500), lead(0.502), lead(0.504)})
		x.At = noon.Add(time.Duration(i) * 10 * time.Minute)
		if copy {
			x.Leads[measure.A2] = x.Leads[measure.A1]
		}
		out[i] = x
	}
	return out
}

func TestOneValueInTwoRegisters(t *testing.T) {
	l := fourWire(t, 0.005, quantity.Ohm(nan))
	for _, c := range []struct {
		n          int
		copy, want bool
	}{
		{144, true, true},
		{144, false, false}, // equal cores round to the same step often, not always
		{20, true, false},   // too few to tell
	} {
		r := l.Commission(series(l.Spec(), c.n, c.copy))
		got := len(r.Findings) == 1 && r.Findings[0].Kind == finding.NotFourWire && r.Findings[0].Leads == finding.LeadsOf(measure.A1, measure.A2)
		if got != c.want || !c.want && len(r.Findings) != 0 {
			t.Errorf("%d samples, copies %v: findings %+v", c.n, c.copy, r.Findings)
		}
	}
	still := make([]measure.Sample, 200) // a value that does not move proves nothing
	for i := range still {
		still[i] = at(l.Spec(), 80, measure.Leads{0.5, 0.5, 0.5, 0.5})
	}
	if r := l.Commission(still); len(r.Findings) != 0 {
		t.Errorf("still values: %+v", r.Findings)
	}
}

func TestThreeTerminalsUsed(t *testing.T) {
	l := fourWire(t, 0.005, quantity.Ohm(nan))
	for _, open := range []quantity.Ohm{quantity.Ohm(nan), quantity.Ohm(inf), 5000} {
		samples := make([]measure.Sample, 10)
		for i := range samples {
			samples[i] = at(l.Spec(), 80, measure.Leads{0.5, 0.5, 0.5, 0.5})
			samples[i].Leads[measure.A2] = open
		}
		r := l.Commission(samples)
		if len(r.Findings) != 1 || r.Findings[0].Kind != finding.NotFourWire || !strings.Contains(r.Findings[0].Evidence, "three terminals used") {
			t.Errorf("a2 at %v: %+v", open, r.Findings)
		}
	}
}

// A reading error of 0 beside the leads of a jumper would look real: Assess gives
// the error of the wiring that it sees, says so, and allocates nothing for it.
func TestAssessOfAJumperedFourWire(t *testing.T) {
	l := fourWire(t, 0.005, 0.5)
	s := at(l.Spec(), 25, measure.Leads{0.002, 0.001, 0.50, 0.50})
	a := l.Assess(&s)
	// a1∥a2 of about 0.25 Ω is in the reading (half a lead when equal, from the
	// circuit); S(25 °C) = 0.3879425 Ω/K by IEC 60751.
	if want := 0.25 / 0.3879425; math.Abs(float64(a.Error)-want) > 0.005 {
		t.Errorf("error %.3f °C, want %.3f", float64(a.Error), want)
	}
	if !(a.U > 0.02) || a.Reason == "" || a.Basis != diagnostics.Inferred {
		t.Errorf("U %.3f, reason %q, basis %v: not said to be inferred", float64(a.U), a.Reason, a.Basis)
	}
	if n := testing.AllocsPerRun(100, func() { a = l.Assess(&s) }); n != 0 {
		t.Errorf("%g allocations, want 0", n)
	}
	sound := at(l.Spec(), 25, measure.Leads{0.50, 0.51, 0.50, 0.50})
	if b := l.Assess(&sound); b.Error != 0 || b.Reason != "" {
		t.Errorf("a sound loop has error %v, reason %q", b.Error, b.Reason)
	}
}
