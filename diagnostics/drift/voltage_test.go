package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// boxOn is the temperature of the box that the copper of a cable follows, °C.
func boxOn(d float64) float64 { return 22 + (copperOn(d)-1)/0.00393 }

// batches is a process that heats and cools, 20 and 31 h long in turn, °C.
func batches(d float64) float64 {
	t := 45 + 14*math.Sin(2*math.Pi*d*24/20) + 12*math.Sin(2*math.Pi*d*24/31+1)
	return math.Round(t/10) * 10 // it stands at a set point for hours
}

// tank stands out of doors and follows the weather by half.
func tank(d float64) float64 { return 16 + (boxOn(d)-22)/2 }

// inflow is a tank that is cooled twice a day.
func inflow(d float64) float64 { return tank(d) - 8*math.Round(math.Mod(d*2.13, 1)) }

func storage(float64) float64 { return 6 }

// junction is a lead with a thermocouple between head and box, growing from day
// 40 by perDay mΩ/K a day. The head follows the process within lag hours.
func junction(l measure.Lead, process func(float64) float64, lag, perDay float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		if d < 40 {
			return
		}
		head, sum := 0.0, 0.0
		for h := 0.0; h < 6*lag; h += lag / 8 { // the first-order response by its kernel
			w := math.Exp(-h / lag)
			head, sum = head+w*process(d-h/24), sum+w
		}
		v[l] += perDay / 1000 * (d - 40) * (head/sum - boxOn(d))
	}
}

func TestVoltages(t *testing.T) {
	noise := func(days int) float64 { return rand.New(rand.NewPCG(11, uint64(days))).NormFloat64() }
	opens := func(sign float64) func(float64, *[measure.LeadCount]float64) {
		return func(d float64, v *[measure.LeadCount]float64) { // warmth opens it, no two days alike
			if d > 40 {
				v[measure.B1] += 0.004 * (d - 40) / (1 + math.Exp(-sign*(boxOn(d)-22)/3)) * math.Exp(0.4*noise(int(d)))
			}
		}
	}
	damp := func(d float64, v *[measure.LeadCount]float64) {
		if d > 40 {
			v[measure.B1] += 0.003 * (d - 40) * (1 + 0.08*noise(int(d*4)))
		}
	}
	loose := func(d float64, v *[measure.LeadCount]float64) { // swings that the reading follows by kelvins
		if d > 40 {
			v[measure.A1] += 3 * (1 + math.Sin(2*math.Pi*d*24/17))
		}
	}
	tests := []struct {
		name    string
		process func(float64) float64
		fault   func(float64, *[measure.LeadCount]float64)
		kind    finding.Kind
		lead    measure.Lead
	}{
		{"rising", batches, junction(measure.B1, batches, 1, 0.05), finding.ThermalEMF, measure.B1},
		{"falling", batches, junction(measure.B1, batches, 1, -0.05), finding.ThermalEMF, measure.B1},
		{"falling at the reference lead", batches, junction(measure.A1, batches, 1, -0.05), finding.ThermalEMF, measure.A1},
		{"rising at once", batches, junction(measure.B1, batches, 1, 0.5), finding.ThermalEMF, measure.B1},
		{"falling at once", batches, junction(measure.B2, batches, 1, -0.5), finding.ThermalEMF, measure.B2},
		{"in a quick head", batches, junction(measure.A1, batches, 0.3, 0.05), finding.ThermalEMF, measure.A1},
		{"in a slow head", batches, junction(measure.A1, batches, 2.5, 0.05), finding.ThermalEMF, measure.A1},
		{"in a cold store", storage, junction(measure.B1, storage, 1, -0.1), finding.ThermalEMF, measure.B1},
		{"a contact beside a batch process", batches, damp, finding.LeadDrift, measure.B1},
		{"a contact opened by warmth beside a batch process", batches, opens(1), finding.LeadThermal, measure.B1},
		{"a contact opened by cold beside a batch process", batches, opens(-1), finding.LeadThermal, measure.B1},
		{"a contact opened by warmth at a tank out of doors", tank, opens(1), finding.LeadThermal, measure.B1},
		{"at a tank with a cold inflow twice a day", inflow, junction(measure.B1, inflow, 1, 0.2), finding.ThermalEMF, measure.B1},
		{"a contact opened by warmth in a cold store", storage, opens(1), finding.LeadThermal, measure.B1},
		{"a loose contact that moves the reading", nil, loose, finding.LeadIntermittent, measure.A1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
			c := newCable(5)
			c.process, c.fault = tt.process, tt.fault
			all := run(e, &c, 0, 60*perDay)
			for _, f := range all {
				if f.Kind == finding.LeadRestored {
					t.Errorf("a voltage that fell was taken for work: %s", f.Evidence)
				}
			}
			out := counted(all)
			if len(out) == 0 {
				t.Fatal("nothing found")
			}
			f := out[len(out)-1]
			if f.Kind != tt.kind || f.Leads != finding.LeadsOf(tt.lead) {
				t.Errorf("got %s %v, want %s %v: %s", f.Kind, f.Leads.Names(), tt.kind, tt.lead, f.Evidence)
			}
			for _, f := range out {
				if f.Leads != finding.LeadsOf(tt.lead) {
					t.Errorf("%v named on %v: %s", f.Leads.Names(), f.Time, f.Evidence)
				}
				if tt.kind != finding.ThermalEMF && f.Kind == finding.ThermalEMF {
					t.Errorf("called a voltage: %s", f.Evidence)
				}
			}
		})
	}
}

// A voltage that falls is seen as early as one that rises where the process moves:
// a little beyond the threshold of 3 mΩ, not at the 20 of a slow fall alone.
func TestFallingVoltageBesideAMovingProcess(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(5)
	c.process, c.fault = batches, junction(measure.B1, batches, 1, -0.02)
	out := counted(run(e, &c, 0, 65*perDay))
	if len(out) == 0 {
		t.Fatal("nothing found")
	}
	if f := out[0]; f.Kind != finding.ThermalEMF || float64(f.Contact) < -0.010 || float64(f.Contact) > -0.003 {
		t.Errorf("first %s at %s: want thermal-emf between −3 and −10 mΩ", f.Kind, ohms(float64(f.Contact)))
	}
}

// The implied difference between head and box must be one that can be: 50 °C
// against a box that began between −20 and 45 °C, with the level up to three
// times ahead of the movement or a third behind it.
func TestHeadAndBoxCanBeThatFarApart(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	e.s.Pair.SlowT = 50
	for apart, want := range map[float64]bool{-30: false, -2: false, 3: false, 4: true, 28: true, 70: true, 200: true, 220: false} {
		if got := e.apart(apart, coupleAhead); got != want {
			t.Errorf("%g K: %v, want %v", apart, got, want)
		}
	}
	if e.apart(71, aheadStill) || !e.apart(69, aheadStill) {
		t.Error("without a process that moves the level itself must fit: 50 °C and a box at −20 °C are 70 K")
	}
	e.s.Pair.SlowT = 6 // a cold store: the box may be on either side
	for apart, want := range map[float64]bool{-130: false, -100: true, -8: true, 8: true, 70: true, 90: false} {
		if got := e.apart(apart, coupleAhead); got != want {
			t.Errorf("%g K from a store: %v, want %v", apart, got, want)
		}
	}
}

// Another cable begins anew for the leads of a pair with their copper as well.
func TestANewCableIsNoMovementOfAPair(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireLoop, wiring.PairsOnly))
	c := newCable(3)
	c.feed(e, 0, 3*perDay)
	if e.s.Ch[bareOf].Couple == (coupleState{}) {
		t.Fatal("the leads of a pair are not followed with their copper")
	}
	e.renew()
	for k := range e.m.n {
		if x := e.s.Ch[bareOf+k].Couple; x != (coupleState{}) {
			t.Errorf("%s goes on from %+v", e.m.name(k), x)
		}
	}
}

// What stands below its copper is a voltage as long as it does, however small it
// becomes: no contact is "−3 mΩ beyond its copper".
func TestWhatIsBelowItsCopperIsNoDrift(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(3)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		v[measure.B1] -= 0.03*min(max(0, d-40)/12, 1) - 0.027*min(max(0, d-60)/60, 1)
	}
	fs := run(e, &c, 0, 170*perDay)
	if len(counted(slices.Clone(fs))) == 0 {
		t.Fatal("nothing found")
	}
	for _, f := range fs {
		if f.Kind != finding.ThermalEMF {
			t.Errorf("day %.1f: %s at %s: %s", on(f.Time), f.Kind, ohms(float64(f.Contact)), f.Evidence)
		}
	}
}
