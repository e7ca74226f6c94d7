package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// The mean size is that of what still counts: a bad register of last month is
// neither in it nor in the way of what comes now.
func TestSizeForgetsAsCountsDo(t *testing.T) {
	p := spikeState{Size: 9.4, Sure: 0.02, Peak: 0.006}
	p.Maybe++
	p.spiked(1, 0)
	if math.Abs(float64(p.Size)-0.006) > 1e-5 {
		t.Errorf("after one of 9.4 Ω that is forgotten and one of 6 mΩ: %.3f Ω", p.Size)
	}
	p.Peak = 0.012
	p.Maybe++
	p.spiked(1, 600)
	if math.Abs(float64(p.Size)-0.009) > 1e-3 {
		t.Errorf("of 6 and 12 mΩ: %.4f Ω, want about the mean", p.Size)
	}
}

// Of two leads the lower one is taken for copper, so noise on both of them shows
// as rises of one or the other, never as falls.
func TestBurstOnPairsIsNoContact(t *testing.T) {
	for seed := range uint64(6) {
		e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.PairsOnly))
		c := newCable(seed)
		c.lead = [measure.LeadCount]float64{4.91, 4.93, 4.92, 4.91}
		c.process = func(d float64) float64 { return 8 + 0.7*math.Sin(2*math.Pi*d*24/1.3) } // too restless to contradict
		still := c
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			for k := range v {
				if d > 40 && math.Mod(d, 3.4) < 0.16 { // for four hours
					v[k] += 0.007 * gauss(d, k)
				}
				v[k] = math.Round(v[k]*200) / 200
			}
		}
		out := c.feed(e, 0, 0)
		for i := range 80 * perDay {
			s := c.at(e.m.spec, i)
			s.Sensor = still.at(e.m.spec, i).Sensor // another input, another moment
			out = e.Step(&s, nil, out)
		}
		if out = counted(out); len(out) > 0 {
			t.Errorf("cable %d: %s: %s", seed, out[0].Kind, out[0].Evidence)
		}
	}
}

// While one of two leads is warmed the other is the copper and shows no noise
// against itself; what it always had is no excursion when both are asked again.
func TestLeadThatWasTheCopperKeepsItsGate(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-1", wiring.ThreeWireDual, wiring.PairsOnly))
	e.s.Ch[0].Base, e.s.Ch[1].Base = 0.5, 0.5
	c := &e.s.Ch[1]
	c.Quiet, c.Sigma = 0.002, 0.0002
	var fr frame
	if e.frame(&fr); fr.gate[1] < 0.006 {
		t.Errorf("gate %.4f Ω, want some of the 2 mΩ of the baseline", fr.gate[1])
	}
	c.Sigma = 0.01
	if e.frame(&fr); fr.gate[1] < 0.06 {
		t.Errorf("gate %.4f Ω where it scatters by 10 mΩ", fr.gate[1])
	}
}
