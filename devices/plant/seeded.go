package plant

import (
	"cmp"
	"slices"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

const hours24 = 24 * time.Hour

// scenario is one way in which the seed makes a loop bad.
type scenario struct {
	fits  func(l *Loop) bool
	fault Fault
	onset time.Duration // before Start; negative = after Live, in real time
	box   bool          // hits the loops of one junction box together
}

// scenarios lists what the seed chooses from, in this order: small plants get
// the first few. Sizes are such that most can be seen within 120 days of past
// and some are beyond a limit of 0.3 °C at Start; x is age over life then.
func scenarios() []scenario {
	return []scenario{
		{showsLeads, Fault{Kind: TakeOff, Size: 0.02, Life: 115 * hours24}, 100 * hours24, false}, // x = 0.87
		{showsLeads, Fault{Kind: Intermittent, Size: 0.5, Life: 60 * hours24}, 40 * hours24, false},
		{showsLeads, Fault{Kind: Linear, Size: 0.17, Life: 90 * hours24}, 90 * hours24, false},
		{showsLeads, Fault{Kind: Open}, -15 * time.Second, false},
		{trueFourWire, Fault{Kind: Short}, 2000 * hours24, false},
		{showsLeads, Fault{Kind: Step, Size: 0.11, Life: 80 * hours24}, 35 * hours24, false},
		{inBox, Fault{Kind: Moisture, Size: 0.22, Life: 50 * hours24}, 55 * hours24, true},
		{showsLeads, Fault{Kind: Thermal, Size: 0.12, Life: 60 * hours24}, 70 * hours24, false},
		{showsPairs, Fault{Kind: Film, Size: 0.14, Life: 110 * hours24}, 110 * hours24, false},
		{showsLeads, Fault{Kind: TakeOff, Size: 0.015, Life: 40 * hours24}, -5 * time.Second, false},
		{showsEMF, Fault{Kind: EMF, Volt: 40e-6, Life: 5 * hours24}, 30 * hours24, false},
		{outdoor, Fault{Kind: Leak, Shunt: 40e3, Life: 30 * hours24}, 50 * hours24, false},
		{showsLeads, Fault{Kind: Noise, Size: 0.03, Life: 40 * hours24}, 45 * hours24, false},
	}
}

func outdoor(l *Loop) bool    { return l.Outdoor }
func showsLeads(l *Loop) bool { return l.Wires > 2 && l.Reports == wiring.AllLeads }
func showsPairs(l *Loop) bool { return l.Wires == 3 && l.Reports == wiring.PairsOnly }
func inBox(l *Loop) bool      { return l.Box != "" && showsLeads(l) }

// showsEMF: the device has a register for it.
func showsEMF(l *Loop) bool {
	return l.Profile != nil && slices.ContainsFunc(l.Profile.Fields, func(f devices.Field) bool { return f.Quantity == devices.EMFVolt })
}

// trueFourWire: a jumper left there by the fitters. One that was there at a
// calibration with the leads in circuit has been trimmed out.
func trueFourWire(l *Loop) bool {
	return l.Method == wiring.FourWire && showsLeads(l) && l.Calibrated != diagnostics.LeadsIn
}

// choose lets the seed pick the bad loops: one scenario for every five loops of
// the plant.
func (p *Plant) choose() []Placed {
	order := p.shuffled()
	want := max(1, len(order)/5)
	taken := make(map[int]bool)
	var out []Placed
	list := scenarios()
	for _, sc := range list[:min(want, len(list))] {
		members := p.pick(sc, order, taken)
		for _, i := range members {
			taken[i] = true
			out = append(out, p.placed(i, sc))
		}
	}
	return out
}

// shuffled returns the loops in an order that the seed gives; a loop's place
// depends on its tag alone.
func (p *Plant) shuffled() []int {
	order := make([]int, len(p.loops))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(mix(p.loops[a].key), mix(p.loops[b].key)), cmp.Compare(a, b))
	})
	return order
}

// pick returns the first free loop that fits, or up to four of one box.
func (p *Plant) pick(sc scenario, order []int, taken map[int]bool) []int {
	boxes := make(map[string][]int)
	for _, i := range order {
		l := p.loops[i].spec
		if taken[i] || !sc.fits(l) {
			continue
		}
		if !sc.box {
			return []int{i}
		}
		members := append(boxes[l.Box], i)
		if boxes[l.Box] = members; len(members) == 4 {
			return members
		}
	}
	for _, i := range order { // no box has four: take the first with three
		if m := boxes[p.loops[i].spec.Box]; len(m) == 3 {
			return m
		}
	}
	return nil
}

// placed dresses a scenario for one loop: its lead, and a size that varies by a
// quarter from loop to loop.
func (p *Plant) placed(i int, sc scenario) Placed {
	x := p.loops[i]
	f := sc.fault
	f.Lead = telling(x.spec, uniform(x.key, 0, chStatic+50))
	f.Size *= quantity.Ohm(between(x.key, 51, 0.85, 1.25))
	f.Onset = p.conf.Start.Add(-sc.onset)
	if sc.onset < 0 {
		f.Onset = p.conf.Live.Add(-sc.onset)
	}
	out := Placed{Loop: i, Fault: f}
	if sc.box {
		out.Box = x.spec.Box
	}
	return out
}

// telling returns one of the leads that the reading error of the loop depends on
// (any lead where it depends on none), u in [0, 1) choosing. With pairs only,
// one of those that the transmitter shows.
func telling(l *Loop, u float64) measure.Lead {
	leads := measure.LeadsOf(l.Wires)
	switch {
	case l.Wires == 3 && l.Reports == wiring.PairsOnly && l.Method == wiring.ThreeWireLoop:
		leads = []measure.Lead{measure.B2}
	case l.Wires == 3 && l.Reports == wiring.PairsOnly && l.Method == wiring.ThreeWireDual:
		leads = []measure.Lead{measure.B1}
	case l.Wires == 3 && l.Reports == wiring.PairsOnly:
		leads = []measure.Lead{measure.B1, measure.B2}
	case l.Method == wiring.ThreeWireLoop:
		leads = []measure.Lead{measure.A1, measure.B2}
	case l.Method == wiring.ThreeWireDual:
		leads = []measure.Lead{measure.A1, measure.B1}
	}
	return leads[int(u*float64(len(leads)))]
}
