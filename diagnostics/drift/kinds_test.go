package drift

import (
	"math"
	"slices"
	"testing"
	"time"
	"unsafe"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// run steps an engine through samples from..to of a cable and returns what was
// found.
func run(e *Engine, c *cable, from, to int) []finding.Finding {
	var out []finding.Finding
	for i := from; i < to; i++ {
		s := c.at(e.m.spec, i)
		out = e.Step(&s, nil, out)
	}
	return out
}

func TestSoundLoopIsSilent(t *testing.T) {
	for seed := range uint64(3) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(seed)
		if out := run(e, &c, 0, 120*perDay); len(out) != 0 {
			t.Errorf("seed %d: %s at %v: %s", seed, out[0].Kind, out[0].Time, out[0].Evidence)
		}
	}
}

// grow adds a contact to one lead from a day on, Ω per day to the power p.
func grow(l measure.Lead, from, perDay, p float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		if d > from {
			v[l] += perDay * math.Pow(d-from, p)
		}
	}
}

func TestKindsAndLeads(t *testing.T) {
	day := func(d float64) float64 { return 2 * math.Pi * (d - 15.0/24) }
	tests := []struct {
		name   string
		method wiring.Method
		fault  func(d float64, v *[measure.LeadCount]float64)
		days   int
		kind   finding.Kind
		leads  finding.LeadSet
	}{
		{"a ramp", wiring.ThreeWireDual, grow(measure.B1, 40, 0.002, 1), 70, finding.LeadDrift, finding.LeadsOf(measure.B1)},
		{"faster and faster", wiring.ThreeWireLoop, grow(measure.A1, 40, 0.00005, 2.5), 75, finding.LeadDrift, finding.LeadsOf(measure.A1)},
		{"four-wire", wiring.FourWire, grow(measure.A2, 40, 0.002, 1), 70, finding.LeadDrift, finding.LeadsOf(measure.A2)},
		{"two leads at once", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			grow(measure.A1, 40, 0.002, 1)(d, v)
			grow(measure.B2, 40, 0.0012, 1)(d, v)
		}, 70, finding.LeadDrift, finding.LeadsOf(measure.A1, measure.B2)},
		{"a step", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.A1] += 0.08
			}
		}, 50, finding.LeadStep, finding.LeadsOf(measure.A1)},
		{"half the limit and more at once", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.A1] += 0.19
			}
		}, 42, finding.LeadStep, finding.LeadsOf(measure.A1)},
		{"with the heat of the day", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.A1] += 0.05 * (1 + math.Cos(day(d)))
			}
		}, 60, finding.LeadThermal, finding.LeadsOf(measure.A1)},
		{"with the vibration of the day shift", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 42 {
				v[measure.B2] += 0.015
			}
			if hour := math.Mod(d, 1) * 24; d > 42 && math.Mod(d, 7) < 5 && hour > 4 && hour < 12 {
				v[measure.B2] += 0.06 * (1 + 0.3*math.Sin(1e4*math.Floor(d)))
			}
		}, 75, finding.LeadIntermittent, finding.LeadsOf(measure.B2)},
		{"wet and dry", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.A1] += 0.05 * (1 - math.Cos(2*math.Pi*(d-40)/9))
			}
		}, 75, finding.LeadMoisture, finding.LeadsOf(measure.A1)},
		{
			"a jumper for a lead", wiring.FourWire, func(_ float64, v *[measure.LeadCount]float64) { v[measure.B1] = 0.006 }, 4,
			finding.NotFourWire, finding.LeadsOf(measure.B1, measure.B2),
		},
		{"noise on one lead", wiring.ThreeWireDual, func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.B2] += 0.03 * math.Sin(1e6*d)
			}
		}, 70, finding.LeadNoise, finding.LeadsOf(measure.B2)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", tt.method, wiring.AllLeads))
			c := newCable(7)
			c.fault = tt.fault
			out := counted(run(e, &c, 0, tt.days*perDay))
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			f := out[len(out)-1]
			if f.Kind != tt.kind || f.Leads != tt.leads {
				t.Errorf("got %s %v, want %s %v: %s", f.Kind, f.Leads.Names(), tt.kind, tt.leads.Names(), f.Evidence)
			}
			if out[0].Time.Sub(testStart) < 40*24*time.Hour && tt.days > 40 {
				t.Errorf("found at %v, before the fault began", out[0].Time)
			}
		})
	}
}

// counted leaves out notes and clearings.
func counted(out []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(out, func(f finding.Finding) bool { return f.Severity == finding.Info || f.State == finding.Cleared })
}

func TestWorkIsNoFault(t *testing.T) {
	tests := []struct {
		name  string
		fault func(d float64, v *[measure.LeadCount]float64)
		kind  finding.Kind
	}{
		{"another cable", func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				for k := range v {
					v[k] *= 1.3
				}
			}
		}, finding.CableChanged},
		{"leads swapped", func(d float64, v *[measure.LeadCount]float64) {
			v[measure.B1] -= 0.02
			if d > 40 {
				v[measure.A1], v[measure.B1] = v[measure.B1], v[measure.A1]
			}
		}, finding.LeadsSwapped},
		{"retightened", func(d float64, v *[measure.LeadCount]float64) {
			if d < 40 {
				v[measure.B2] += 0.04
			}
		}, finding.LeadRestored},
		{"coarser values", func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				for k := range v {
					v[k] = math.Round(v[k]/0.01) * 0.01
				}
			}
		}, finding.DeviceChanged},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
			c := newCable(3)
			c.fault = tt.fault
			out := run(e, &c, 0, 75*perDay)
			if !slices.ContainsFunc(out, func(f finding.Finding) bool { return f.Kind == tt.kind && f.Severity == finding.Info }) {
				t.Errorf("no %s among %d findings", tt.kind, len(out))
			}
			if bad := counted(out); len(bad) > 0 {
				t.Errorf("%s: %s", bad[0].Kind, bad[0].Evidence)
			}
		})
	}
}

func TestOpenLead(t *testing.T) {
	nan := quantity.Ohm(math.NaN())
	tests := []struct {
		name  string
		open  func(s *measure.Sample)
		leads finding.LeadSet
		found bool
	}{
		{"value gone", func(s *measure.Sample) {
			s.Leads[measure.B1], s.Sensor, s.Reading = nan, nan, quantity.DegC(nan)
		}, finding.LeadsOf(measure.B1), true},
		{"at the end of the range", func(s *measure.Sample) {
			s.Leads[measure.B1], s.Sensor, s.Reading = 999.99, 390.48, 850
		}, finding.LeadsOf(measure.B1), true},
		{"the element", func(s *measure.Sample) { s.Sensor, s.Reading = 390.48, 850 }, 0, true},
		{"empty telegrams", func(s *measure.Sample) {
			s.Leads, s.Sensor, s.Reading = measure.NoLeads(), nan, quantity.DegC(nan)
		}, 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
			c := newCable(1)
			run(e, &c, 0, 3*perDay)
			var out []finding.Finding
			for i := range 8 {
				s := c.at(e.m.spec, 3*perDay+i)
				tt.open(&s)
				out = e.Step(&s, nil, out)
			}
			if (len(out) > 0) != tt.found {
				t.Fatalf("%d findings", len(out))
			}
			if tt.found && (out[0].Kind != finding.LeadOpen || out[0].Leads != tt.leads || out[0].Severity != finding.Failure) {
				t.Errorf("got %s %v %s", out[0].Kind, out[0].Leads.Names(), out[0].Severity)
			}
			cleared := run(e, &c, 3*perDay+8, 3*perDay+30)
			if tt.found && (len(cleared) == 0 || cleared[0].State != finding.Cleared) {
				t.Error("does not clear when the circuit is closed again")
			}
		})
	}
}

// TestBadValuesRaiseNothing: what registers deliver when they are not well.
func TestBadValuesRaiseNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		bad := rapid.SampledFrom([]float64{0, -0.5, 655.35, 999.99, math.NaN(), math.Inf(1), 5e-324}).Draw(rt, "bad")
		every := rapid.IntRange(20, 200).Draw(rt, "every")
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireHalf, wiring.AllLeads))
		c := newCable(uint64(every))
		var out []finding.Finding
		for i := range 40 * perDay {
			s := c.at(e.m.spec, i)
			if i%every == 0 {
				s.Leads[measure.LeadsOf(3)[i/every%3]] = quantity.Ohm(bad)
			}
			out = e.Step(&s, nil, out)
		}
		for _, f := range counted(out) {
			if f.Kind != finding.Implausible {
				rt.Errorf("%s: %s", f.Kind, f.Evidence)
			}
		}
	})
}

func TestJournal(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(9)
	c.fault = grow(measure.B1, 25, 0.004, 1)
	if out := run(e, &c, 0, 40*perDay); len(out) == 0 {
		t.Fatal("nothing found to begin with")
	}
	at := func(i int) time.Time { return testStart.Add(time.Duration(i) * 10 * time.Minute) }
	if out := e.Journal(at(40*perDay), FunctionCheck, nil); len(out) != 0 {
		t.Errorf("the beginning of work cleared %s", out[0].Kind)
	}
	if out := run(e, &c, 40*perDay+1, 41*perDay); len(out) != 0 {
		t.Errorf("%s during work", out[0].Kind)
	}
	out := e.Journal(at(41*perDay), WorkDone, nil)
	if len(out) != 1 || out[0].State != finding.Cleared || len(e.Open(nil)) != 0 {
		t.Fatalf("work done: %d findings, %d stand", len(out), len(e.Open(nil)))
	}
	c.fault = nil
	if out := run(e, &c, 41*perDay+1, 80*perDay); len(counted(out)) != 0 {
		t.Errorf("after the work: %s", out[0].Evidence)
	}
}

func BenchmarkStep(b *testing.B) { // a sound loop at ten minutes, forecasts and blocks included
	for _, bad := range []bool{false, true} {
		b.Run(map[bool]string{false: "loop=sound", true: "loop=drifting"}[bad], func(b *testing.B) {
			e := mustEngine(b, testSpec(b, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
			c := newCable(1)
			if bad {
				c.fault = grow(measure.B1, 30, 0.0001, 1)
			}
			samples := make([]measure.Sample, 365*perDay)
			for i := range samples {
				samples[i] = c.at(e.m.spec, i)
			}
			var out []finding.Finding
			b.ReportAllocs()
			i, shift := 0, time.Duration(0)
			for b.Loop() {
				s := samples[i]
				s.At = s.At.Add(shift)
				out = e.Step(&s, nil, out[:0])
				if i++; i == len(samples) {
					i, shift = 0, shift+365*24*time.Hour
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "samples/s")
			b.ReportMetric(float64(unsafe.Sizeof(*e)), "B/loop")
		})
	}
}

// A step that stands for two months is told once, and again when it changes; a
// growing contact is told as it grows.
func TestUpdatesTellSomethingNew(t *testing.T) {
	for name, tt := range map[string]struct {
		fault       func(d float64, v *[measure.LeadCount]float64)
		least, most int
	}{
		"a step": {func(d float64, v *[measure.LeadCount]float64) {
			if d > 40 {
				v[measure.A1] += 0.08
			}
		}, 0, 4}, // its forecast settles within some days
		"a ramp": {grow(measure.B1, 40, 0.002, 1), 12, 60},
	} {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
		c := newCable(7)
		c.fault = tt.fault
		updates := map[string]int{}
		last := testStart
		for _, f := range counted(run(e, &c, 0, 110*perDay)) {
			if f.State != finding.Updated {
				continue
			}
			updates[name]++
			if f.Time.Sub(last) < 24*time.Hour && f.Severity == finding.Maintenance {
				t.Errorf("%s: two updates on one day, %v", name, f.Time)
			}
			last = f.Time
		}
		if n := updates[name]; n < tt.least || n > tt.most {
			t.Errorf("%s: %d updates, want %d to %d", name, n, tt.least, tt.most)
		}
	}
}

// What scatters is near its baseline time and again; its onset is the first one
// all the same, or every forecast would rest on a day or two.
func TestTheOnsetOfNoiseStays(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(7)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		if d > 40 {
			v[measure.B2] += (d - 40) * 0.004 * math.Sin(1e6*d)
		}
	}
	out := counted(run(e, &c, 0, 75*perDay))
	if len(out) < 5 {
		t.Fatalf("%d findings", len(out))
	}
	for _, f := range out {
		if f.Since.After(out[0].Since) {
			t.Errorf("on %v the onset is %v, first told as %v", f.Time, f.Since, out[0].Since)
		}
	}
}
