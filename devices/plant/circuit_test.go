package plant

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

func pt100(t testing.TB) rtd.Sensor {
	s, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func soundCircuit(element float64, leads ...float64) *circuit {
	c := &circuit{element: element, shunt: math.Inf(1)}
	copy(c.leads[:], leads)
	return c
}

// The error of each input method, exact °C, from the circuit at leads a1, b1, b2
// (computed independently to more digits and printed to six).
func TestMethodErrors(t *testing.T) {
	s := pt100(t)
	for _, c := range []struct {
		t, a1, b1, b2         float64
		loop, dual, half, two float64
	}{
		{25, .54, .50, .50, +0.103110, +0.103110, +0.103110, +2.681880},
		{25, .50, .54, .50, 0, -0.103106, -0.051554, +2.681880},
		{25, .50, .50, .54, -0.103106, 0, -0.051554, +2.578691},
		{200, .60, .50, .52, +0.217558, +0.271950, +0.244754, +2.992732},
		{-50, .60, .50, .52, +0.201454, +0.251819, +0.226636, +2.771241},
		{400, .54, .50, .50, +0.116069, +0.116069, +0.116069, +3.019257},
	} {
		element := float64(s.Forward(quantity.DegC(c.t)))
		circ := soundCircuit(element, c.a1, 0, c.b1, c.b2)
		for _, m := range []struct {
			method wiring.Method
			wires  int
			want   float64
		}{
			{wiring.ThreeWireLoop, 3, c.loop},
			{wiring.ThreeWireDual, 3, c.dual},
			{wiring.ThreeWireHalf, 3, c.half},
			{wiring.TwoWire, 2, c.two},
			{wiring.DeviceCorrected, 3, 0},
		} {
			got := float64(s.Inverse(quantity.Ohm(circ.solve(m.method, m.wires, 0, 1e-3).after), 0)) - c.t
			if math.Abs(got-m.want) > 1e-6 {
				t.Errorf("%s at %g °C, leads %g %g %g: %+.6f °C, want %+.6f", m.method, c.t, c.a1, c.b1, c.b2, got, m.want)
			}
		}
	}
}

// What a fault at the terminals does: 100 ft of 18 AWG, 0.6385 Ω a lead, Pt100 at
// 0 °C; errors in Ω of the formulas named.
func TestTerminalFaults(t *testing.T) {
	const r = 0.6385
	four := func() *circuit { return soundCircuit(100, r, r, r, r) }
	for _, c := range []struct {
		name  string
		circ  *circuit
		m     wiring.Method
		wires int
		want  float64
	}{
		{"four-wire, sound", four(), wiring.FourWire, 4, 0},
		{"four-wire, jumper on A, a2 landed: a1∥a2", with(four(), func(c *circuit) { c.shortA = true }), wiring.FourWire, 4, r / 2},
		{"four-wire, jumper on A, a2 not landed: a1", with(four(), func(c *circuit) { c.shortA, c.leads[measure.A2] = true, math.Inf(1) }), wiring.FourWire, 4, r},
		{"four-wire, both jumpers: a1∥a2 + b1∥b2", with(four(), func(c *circuit) { c.shortA, c.shortB = true, true }), wiring.FourWire, 4, r},
		{"compensating loop, balanced", four(), wiring.FourWireLoop, 4, 0},
		{"three-wire loop, b1–b2 shorted: a1 + b1∥b2", with(soundCircuit(100, r, 0, r, r), func(c *circuit) { c.shortB = true }), wiring.ThreeWireLoop, 3, 1.5 * r},
		{"three-wire loop, b2 open: a1 + b1", soundCircuit(100, r, 0, r, math.Inf(1)), wiring.ThreeWireLoop, 3, 2 * r},
		{"two-wire, fixed 1.2 Ω taken off", soundCircuit(100, r, 0, r), wiring.TwoWireFixed, 2, 2*r - 1.2},
		{"EMF 10 µV at 1 mA: 0.01 Ω", with(four(), func(c *circuit) { c.emf = 10e-6 }), wiring.FourWire, 4, 0.01},
		{"shunt 100 kΩ: −R²/(R + Rp)", with(four(), func(c *circuit) { c.shunt = 100e3 }), wiring.FourWire, 4, -100.0 * 100 / (100e3 + 100)},
	} {
		got := c.circ.solve(c.m, c.wires, 1.2, 1e-3).after - 100
		if math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %+.6f Ω, want %+.6f", c.name, got, c.want)
		}
	}
}

func with(c *circuit, change func(*circuit)) *circuit { change(c); return c }

func TestOpenLeadsLeaveNoReading(t *testing.T) {
	for _, c := range []struct {
		m     wiring.Method
		wires int
		open  measure.Lead
	}{
		{wiring.TwoWire, 2, measure.A1},
		{wiring.TwoWire, 2, measure.B1},
		{wiring.ThreeWireLoop, 3, measure.A1},
		{wiring.ThreeWireLoop, 3, measure.B1},
		{wiring.ThreeWireDual, 3, measure.A1},
		{wiring.ThreeWireDual, 3, measure.B1},
		{wiring.ThreeWireDual, 3, measure.B2},
		{wiring.ThreeWireHalf, 3, measure.A1},
		{wiring.ThreeWireHalf, 3, measure.B1},
		{wiring.ThreeWireHalf, 3, measure.B2},
		{wiring.FourWire, 4, measure.A1},
		{wiring.FourWire, 4, measure.A2},
		{wiring.FourWire, 4, measure.B1},
		{wiring.FourWire, 4, measure.B2},
		{wiring.DeviceCorrected, 4, measure.A2},
		{wiring.DeviceCorrected, 3, measure.B2},
	} {
		circ := soundCircuit(110, .5, .5, .5, .5)
		circ.leads[c.open] = math.Inf(1)
		if got := circ.solve(c.m, c.wires, 0, 1e-3); got.ok || !math.IsNaN(got.after) {
			t.Errorf("%s with %s open: measures %g Ω, ok %v; want nothing", c.m, c.open, got.after, got.ok)
		}
	}
}

// Leads from the six pairs: test values of the four-wire equations
// a1 = [p(a1a2) + p(a1b1) − p(a2b1)]/2 and the like.
func TestPairs(t *testing.T) {
	s := pt100(t)
	circ := soundCircuit(float64(s.Forward(25)), .51, .55, .50, .62)
	want := [measure.PairCount]float64{1.06, 1.12, 110.74465625, 110.86465625, 110.78465625, 110.90465625}
	for i, got := range circ.pairs() {
		if math.Abs(got-want[i]) > 1e-9 {
			t.Errorf("pair %d: %.8f Ω, want %.8f", i, got, want[i])
		}
	}
}
