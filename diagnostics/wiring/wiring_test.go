package wiring_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

func pt100(t testing.TB) rtd.Sensor {
	t.Helper()
	s, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A change of b1 by +0.04 Ω gives 0, −0.04 or −0.02 Ω depending on the method:
// the sign and the lead that matters differ.
func TestMethodDecidesWhichLeadMatters(t *testing.T) {
	base := measure.Leads{0.5, 0.5, 0.5, 0.5}
	grown := base
	grown[measure.B1] += 0.04
	for m, want := range map[wiring.Method]float64{
		wiring.TwoWire: 0.04, wiring.ThreeWireLoop: 0, wiring.ThreeWireDual: -0.04, wiring.ThreeWireHalf: -0.02,
		wiring.FourWire: 0, wiring.FourWireLoop: 0.04, wiring.DeviceCorrected: 0,
	} {
		if got := wiring.Imbalance(m, grown, 0) - wiring.Imbalance(m, base, 0); math.Abs(float64(got)-want) > 1e-12 {
			t.Errorf("%v: %+.4f Ω, want %+.4f", m, got, want)
		}
	}
}

// An absent lead spoils the imbalance only where it matters.
func TestAbsentLeads(t *testing.T) {
	for m := wiring.TwoWire; m <= wiring.DeviceCorrected; m++ {
		for l, c := range wiring.Coefficients(m) {
			leads := measure.Leads{0.5, 0.5, 0.5, 0.5}
			leads[l] = quantity.Ohm(math.NaN())
			if got := wiring.Imbalance(m, leads, 0); quantity.Known(got) != (c == 0) {
				t.Errorf("%v without %v: %v", m, measure.Lead(l), got)
			}
		}
	}
	if got := wiring.Imbalance(wiring.TwoWireFixed, measure.Leads{1, 1, 1, 1}, quantity.Ohm(math.NaN())); quantity.Known(got) {
		t.Errorf("an absent compensation gave %v", got)
	}
	if got := wiring.Imbalance(wiring.Method(99), measure.Leads{}, 0); quantity.Known(got) {
		t.Errorf("no such method gave %v", got)
	}
}

// 100 ft of 18 AWG at 0 °C, by hand from 0.638488 Ω and 0.39083 Ω/K.
func TestHundredFeet(t *testing.T) {
	c, err := copper.ParseConductor("18 AWG")
	if err != nil {
		t.Fatal(err)
	}
	s := pt100(t)
	r := c.ResistanceAt(30.48, 20)
	leads := measure.Leads{r, r, r, r}
	warm := c.ResistanceAt(30.48, 60)
	tests := []struct {
		what      string
		got       quantity.Ohm
		ohm, degC float64
	}{
		{"two leads under one terminal", wiring.OneTerminal(wiring.ThreeWireLoop, leads), -0.3192, -0.817},
		{"one jumper at the transmitter", wiring.JumperA.Error(leads), 0.6385, 1.634},
		{"one jumper, a2 landed too", wiring.JumperALanded.Error(leads), 0.3192, 0.817},
		{"fixed compensation, 40 K warmer", wiring.Imbalance(wiring.TwoWireFixed, measure.Leads{warm, 0, warm, 0}, 2*r), 0.2007, 0.514},
		{"both jumpers, all landed", wiring.JumperBothLanded.Error(leads), 0.6385, 1.634},
		{"b1 and b2 shorted", wiring.LoopShortError(leads), 1.5 * 0.6385, 2.451},
	}
	for _, c := range tests {
		if got := s.SlopeAt(0).Error(c.got); math.Abs(float64(c.got)-c.ohm) > 1e-4 || math.Abs(float64(got)-c.degC) > 1e-3 {
			t.Errorf("%s: %+.4f Ω, %+.4f °C, want %+.4f and %+.3f", c.what, c.got, got, c.ohm, c.degC)
		}
	}
	// Two sources unequal by 0.1 % with leads of 10 Ω: 0.010 Ω, 0.026 °C.
	unequal := wiring.DualUnequal(measure.Leads{10, 0, 10, 10}, 0.001)
	if math.Abs(float64(unequal)-0.010) > 1e-9 || math.Abs(float64(s.SlopeAt(0).Error(unequal))-0.026) > 5e-4 {
		t.Errorf("unequal sources: %v Ω", unequal)
	}
	if got := wiring.HeadJumpers(0.02, 0.03); got != 0.05 {
		t.Errorf("jumpers in the head: %v Ω, want the two wires", got)
	}
}

// Pairs of a1 .51, a2 .55, b1 .50, b2 .62 and R(25 °C), by hand.
func TestPairsByHand(t *testing.T) {
	p := wiring.Pairs{1.06, 1.12, 110.74465625, 110.86465625, 110.78465625, 110.90465625}
	leads, element, closure := wiring.FromPairs4(&p)
	for l, want := range []float64{0.51, 0.55, 0.50, 0.62} {
		if math.Abs(float64(leads[l])-want) > 1e-12 {
			t.Errorf("%v = %v, want %v", measure.Lead(l), leads[l], want)
		}
	}
	if math.Abs(float64(element)-109.73465625) > 1e-9 || math.Abs(float64(closure)) > 1e-9 {
		t.Errorf("element %v, closure %v", element, closure)
	}
	p[measure.PairA2B2] += 0.1
	if _, _, closure = wiring.FromPairs4(&p); math.Abs(float64(closure)-0.1) > 1e-9 {
		t.Errorf("closure of a wrong pair: %v, want 0.1", closure)
	}
	p[measure.PairA1A2] = quantity.Ohm(math.NaN())
	if leads, _, _ = wiring.FromPairs4(&p); quantity.Known(leads[measure.A1]) || !quantity.Known(leads[measure.B1]) {
		t.Errorf("without a1a2: %v", leads)
	}
}

// Unit noise on each pair: four-wire leads 0.707, element 0.866, closure 2; with
// the element known 0.645; three-wire b1 and b2 0.866, correlated −1/3, so that
// their difference has 1.414 and not 1.225. Computed from the weights.
func TestNoiseOfPairs(t *testing.T) {
	const draws = 200_000
	rng := rand.New(rand.NewPCG(3, 6))
	var a1, b1, a1b1, el, cl, kn, p1, p2, p12 float64
	for range draws {
		var p wiring.Pairs
		for i := range p {
			p[i] = quantity.Ohm(rng.NormFloat64())
		}
		leads, element, closure := wiring.FromPairs4(&p)
		known := wiring.FromPairs4Known(&p, 0)
		three, _ := wiring.FromPairs3(&p)
		sq := func(sum *float64, x, y quantity.Ohm) { *sum += float64(x*y) / draws }
		sq(&a1, leads[measure.A1], leads[measure.A1])
		sq(&b1, leads[measure.B1], leads[measure.B1])
		sq(&a1b1, leads[measure.A1], leads[measure.B1])
		sq(&el, element, element)
		sq(&cl, closure, closure)
		sq(&kn, known[measure.B2], known[measure.B2])
		sq(&p1, three[measure.B1], three[measure.B1])
		sq(&p2, three[measure.B2], three[measure.B2])
		sq(&p12, three[measure.B1], three[measure.B2])
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"u(a1), four wires", math.Sqrt(a1), 0.7071},
		{"u(b1), four wires", math.Sqrt(b1), 0.7071},
		{"correlation of a1 and b1", a1b1 / math.Sqrt(a1*b1), 0},
		{"u(element)", math.Sqrt(el), 0.8660},
		{"u(closure)", math.Sqrt(cl), 2},
		{"u(b2), element known", math.Sqrt(kn), 0.6455},
		{"u(b1), three wires", math.Sqrt(p1), 0.8660},
		{"u(b2), three wires", math.Sqrt(p2), 0.8660},
		{"correlation of b1 and b2", p12 / math.Sqrt(p1*p2), -1.0 / 3},
		{"u(b1 − b2)", math.Sqrt(p1 + p2 - 2*p12), 1.4142},
	} {
		if math.Abs(c.got-c.want) > 0.012 {
			t.Errorf("%s: %.4f, want %.4f", c.what, c.got, c.want)
		}
	}
}

// e/(I·S) of a Pt100 at 0 °C in °C, by hand.
func TestThermalEMF(t *testing.T) {
	s := pt100(t).SlopeAt(0)
	currents := []quantity.Ampere{0.1e-3, 0.2e-3, 0.5e-3, 1e-3}
	for emf, want := range map[quantity.Volt][]float64{
		1e-6:  {0.0256, 0.0128, 0.0051, 0.0026},
		5e-6:  {0.1279, 0.0640, 0.0256, 0.0128},
		10e-6: {0.2559, 0.1279, 0.0512, 0.0256},
		20e-6: {0.5117, 0.2559, 0.1023, 0.0512},
	} {
		for i, w := range want {
			if got := s.Error(wiring.EMFError(emf, currents[i])); math.Abs(float64(got)-w) > 6e-5 {
				t.Errorf("%v V at %v A: %.5f °C, want %v", emf, currents[i], got, w)
			}
		}
	}
	// 22 µV/K × 0.5 K: 0.028 °C at 1 mA, 0.14 °C at 0.2 mA.
	for i, w := range map[quantity.Ampere]float64{1e-3: 0.028, 0.2e-3: 0.14} {
		if got := s.Error(wiring.EMFError(11e-6, i)); math.Abs(float64(got)-w) > 1e-3 {
			t.Errorf("11 µV at %v A: %v °C, want %v", i, got, w)
		}
	}
}

// A voltage with a drifting EMF, read at times 0, τ, 2τ with the current
// reversed in between.
func TestCurrentReversal(t *testing.T) {
	const r, i, e, drift, tau = 110.0, 1e-3, 15e-6, 2e-6, 0.5
	volt := func(sign, at float64) quantity.Volt { return quantity.Volt(sign*i*r + e + drift*at) }
	ohm, emf := wiring.Reversal(volt(1, 0), quantity.Volt(-i*r+e), i)
	if math.Abs(float64(ohm)-r) > 1e-9 || math.Abs(float64(emf)-e) > 1e-12 {
		t.Errorf("constant EMF: %v Ω, %v V", ohm, emf)
	}
	ohm, _ = wiring.Reversal(volt(1, 0), volt(-1, tau), i)
	if left := wiring.ReversalDrift(drift, tau, i); math.Abs(float64(ohm)-r-float64(left)) > 1e-9 || math.Abs(float64(left)) < 1e-4 {
		t.Errorf("drifting EMF leaves %v Ω, predicted %v", float64(ohm)-r, left)
	}
	if ohm = wiring.TripleReversal(volt(1, 0), volt(-1, tau), volt(1, 2*tau), i); math.Abs(float64(ohm)-r) > 1e-9 {
		t.Errorf("three readings: %v Ω", ohm)
	}
	if ohm = wiring.OffsetCompensated(volt(1, 0), volt(0, 0), i); math.Abs(float64(ohm)-r) > 1e-9 {
		t.Errorf("offset compensation: %v Ω", ohm)
	}
	if got := wiring.EMFOfReversed(r+e/i, r-e/i, i); math.Abs(float64(got)-e) > 1e-15 {
		t.Errorf("EMF from reversed readings: %v V", got)
	}
}

// Leak across a Pt100, exact °C computed from the parallel circuit.
func TestInsulationShunt(t *testing.T) {
	s := pt100(t)
	temps := []quantity.DegC{20, 100, 200, 400, 600}
	for leak, want := range map[quantity.Ohm][]float64{
		10e3:  {-2.957, -4.985, -8.254, -17.239, -29.520},
		100e3: {-0.2987, -0.5051, -0.8394, -1.7667, -3.0495},
		1e6:   {-0.0299, -0.0506, -0.0841, -0.1771, -0.3060},
		10e6:  {-0.0030, -0.0051, -0.0084, -0.0177, -0.0306},
	} {
		for i, w := range want {
			r := s.Forward(temps[i])
			got := s.Inverse(r+wiring.Shunt(r, leak), 0) - temps[i]
			within := 6e-5
			if leak < 50e3 {
				within = 6e-4
			}
			if math.Abs(float64(got)-w) > within {
				t.Errorf("%v Ω at %v °C: %.5f °C, want %v", leak, temps[i], got, w)
			}
		}
	}
	if got := wiring.ShuntOf(110, 0.01); quantity.Known(got) {
		t.Errorf("a reading that is high was explained by a leak of %v Ω", got)
	}
}

func TestParseNames(t *testing.T) {
	for _, n := range wiring.Methods() {
		if m, err := wiring.ParseMethod(n); err != nil || m.String() != n {
			t.Errorf("method %q reads as %v %v", n, m, err)
		}
	}
	for _, n := range wiring.ReportLevels() {
		if r, err := wiring.ParseReports(n); err != nil || r.String() != n {
			t.Errorf("reports %q reads as %v %v", n, r, err)
		}
	}
	if _, err := wiring.ParseMethod("three-wire"); err == nil {
		t.Error("three-wire was taken as a method: it does not say which lead remains")
	}
}
