package wiring_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// network is a circuit of resistances between nodes, solved by nodal analysis:
// G·v = i with one node grounded. It knows nothing of package wiring.
type network struct {
	nodes int
	edges []edge
}

type edge struct {
	from, to int
	ohm      float64
}

// source drives amps from node out to node in.
type source struct {
	in, out int
	amps    float64
}

// volts solves for every node's potential against ground. A node without any
// path to the rest is left at 0.
func (n network) volts(t interface{ Fatal(...any) }, ground int, sources ...source) []float64 {
	g := mat.NewDense(n.nodes, n.nodes, nil)
	i := mat.NewVecDense(n.nodes, nil)
	for _, e := range n.edges {
		y := 1 / e.ohm
		g.Set(e.from, e.from, g.At(e.from, e.from)+y)
		g.Set(e.to, e.to, g.At(e.to, e.to)+y)
		g.Set(e.from, e.to, g.At(e.from, e.to)-y)
		g.Set(e.to, e.from, g.At(e.to, e.from)-y)
	}
	for _, s := range sources {
		i.SetVec(s.in, i.AtVec(s.in)+s.amps)
		i.SetVec(s.out, i.AtVec(s.out)-s.amps)
	}
	for k := range n.nodes {
		if k == ground || g.At(k, k) == 0 {
			for j := range n.nodes {
				g.Set(k, j, 0)
			}
			g.Set(k, k, 1)
			i.SetVec(k, 0)
		}
	}
	var v mat.VecDense
	if err := v.SolveVec(g, i); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			t.Fatal(err)
		}
	}
	return v.RawVector().Data
}

// The nodes of a sensor with four leads.
const (
	elementA = iota
	elementB
	termA1
	termA2
	termB1
	termB2
	loopEnd // far end of a separate compensating loop
	nodeCount
)

const milliamp = 1e-3

// drawn is a random circuit.
type drawn struct {
	leads   measure.Leads
	element quantity.Ohm
}

func draw(t *rapid.T) drawn {
	lead := rapid.Float64Range(0.005, 40)
	return drawn{
		leads: measure.Leads{
			quantity.Ohm(lead.Draw(t, "a1")), quantity.Ohm(lead.Draw(t, "a2")),
			quantity.Ohm(lead.Draw(t, "b1")), quantity.Ohm(lead.Draw(t, "b2")),
		},
		element: quantity.Ohm(rapid.Float64Range(7, 4000).Draw(t, "element")),
	}
}

func (d drawn) a1() float64 { return float64(d.leads[measure.A1]) }
func (d drawn) a2() float64 { return float64(d.leads[measure.A2]) }
func (d drawn) b2() float64 { return float64(d.leads[measure.B2]) }

// sensor joins the leads that are landed, each to its own terminal.
func (d drawn) sensor(leads ...measure.Lead) network {
	n := network{nodeCount, []edge{{elementA, elementB, float64(d.element)}}}
	for _, l := range leads {
		end := elementA
		if l == measure.B1 || l == measure.B2 {
			end = elementB
		}
		n.edges = append(n.edges, edge{end, termA1 + int(l), float64(d.leads[l])})
	}
	return n
}

// joined lets two terminals be one: every edge of from moves to to.
func (n network) joined(from, to int) network {
	out := network{nodes: n.nodes}
	for _, e := range n.edges {
		if e.from == from {
			e.from = to
		}
		if e.to == from {
			e.to = to
		}
		out.edges = append(out.edges, e)
	}
	return out
}

// between measures the resistance between two terminals by a current through
// them.
func (n network) between(t *rapid.T, p, q int) float64 {
	return n.volts(t, q, source{p, q, milliamp})[p] / milliamp
}

var (
	three = []measure.Lead{measure.A1, measure.B1, measure.B2}
	four  = []measure.Lead{measure.A1, measure.A2, measure.B1, measure.B2}
)

// measured does what an input of the method does, step by step.
func measured(t *rapid.T, m wiring.Method, d drawn, n network, fixed float64) float64 {
	switch m {
	case wiring.TwoWire:
		return n.between(t, termA1, termB1)
	case wiring.TwoWireFixed:
		return n.between(t, termA1, termB1) - fixed
	case wiring.ThreeWireLoop: // the loop b1 + b2 is measured and subtracted
		return n.between(t, termA1, termB1) - n.between(t, termB1, termB2)
	case wiring.ThreeWireDual: // two sources, common return
		v := n.volts(t, termB2, source{termA1, termB2, milliamp}, source{termB1, termB2, milliamp})
		return (v[termA1] - v[termB1]) / milliamp
	case wiring.ThreeWireHalf: // potential lead b2, half of the loop measured apart
		v := n.volts(t, termB1, source{termA1, termB1, milliamp})
		return (v[termA1]-v[termB2])/milliamp - n.between(t, termB1, termB2)/2
	case wiring.FourWire:
		v := n.volts(t, termB1, source{termA1, termB1, milliamp})
		return (v[termA2] - v[termB2]) / milliamp
	case wiring.FourWireLoop: // a2 and b2 are a loop of their own
		loop := network{nodeCount, []edge{{termA2, loopEnd, d.a2()}, {loopEnd, termB2, d.b2()}}}
		return n.between(t, termA1, termB1) - loop.between(t, termA2, termB2)
	}
	t.Fatalf("no circuit for %v", m)
	return 0
}

// agree compares resistances to 1e-9 of the whole measured value.
func agree(t *rapid.T, what string, got quantity.Ohm, measured float64, element quantity.Ohm) {
	want := measured - float64(element)
	if scale := math.Abs(measured) + float64(element); math.Abs(float64(got)-want) > 1e-9*scale {
		t.Fatalf("%s: %.12g Ω, the circuit says %.12g Ω", what, got, want)
	}
}

// Every method leaves in the reading what the solved circuit says, for any
// leads and element.
func TestImbalanceAgreesWithTheCircuit(t *testing.T) {
	wires := map[wiring.Method][]measure.Lead{
		wiring.TwoWire: {measure.A1, measure.B1}, wiring.TwoWireFixed: {measure.A1, measure.B1}, wiring.ThreeWireLoop: three, wiring.ThreeWireDual: three,
		wiring.ThreeWireHalf: three, wiring.FourWire: four, wiring.FourWireLoop: {measure.A1, measure.B1},
	}
	for m := wiring.TwoWire; m <= wiring.FourWireLoop; m++ {
		t.Run(m.String(), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				d := draw(t)
				fixed := rapid.Float64Range(0, 20).Draw(t, "fixed")
				got := wiring.Imbalance(m, d.leads, quantity.Ohm(fixed))
				agree(t, m.String(), got, measured(t, m, d, d.sensor(wires[m]...), fixed), d.element)
			})
		})
	}
}

// Rows of the same table that are not methods: what else a three-wire or
// four-wire input can meet.
func TestConnectionsAgreeWithTheCircuit(t *testing.T) {
	fourWire := func(t *rapid.T, n network, plus, minus int) float64 {
		v := n.volts(t, termB1, source{termA1, termB1, milliamp})
		return (v[plus] - v[minus]) / milliamp
	}
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		all := d.sensor(four...)
		a, b := all.joined(termA2, termA1), all.joined(termB2, termB1)
		for _, c := range []struct {
			is       wiring.Connection
			measured float64
		}{
			{wiring.Separate, fourWire(t, all, termA2, termB2)},
			{wiring.JumperA, fourWire(t, d.sensor(measure.A1, measure.B1, measure.B2), termA1, termB2)},
			{wiring.JumperALanded, fourWire(t, a, termA1, termB2)},
			{wiring.JumperB, fourWire(t, d.sensor(measure.A1, measure.A2, measure.B1), termA2, termB1)},
			{wiring.JumperBLanded, fourWire(t, b, termA2, termB1)},
			{wiring.JumperBoth, fourWire(t, d.sensor(measure.A1, measure.B1), termA1, termB1)},
			{wiring.JumperBothLanded, fourWire(t, a.joined(termB2, termB1), termA1, termB1)},
		} {
			agree(t, c.is.String(), c.is.Error(d.leads), c.measured, d.element)
		}
		for _, m := range []wiring.Method{wiring.ThreeWireLoop, wiring.ThreeWireDual, wiring.ThreeWireHalf} {
			agree(t, "a1 and a2 under one terminal, "+m.String(), wiring.OneTerminal(m, d.leads), measured(t, m, d, a, 0), d.element)
			// a2 left open: the three-wire method as it stands
			agree(t, "a2 open, "+m.String(), wiring.Imbalance(m, d.leads, 0), measured(t, m, d, d.sensor(three...), 0), d.element)
		}
	})
}

func TestOtherErrorsAgreeWithTheCircuit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		n := d.sensor(three...)

		mismatch := rapid.Float64Range(-0.01, 0.01).Draw(t, "mismatch")
		v := n.volts(t, termB2, source{termA1, termB2, milliamp}, source{termB1, termB2, milliamp * (1 - mismatch)})
		agree(t, "unequal sources", wiring.DualUnequal(d.leads, mismatch), (v[termA1]-v[termB1])/milliamp, d.element)

		v = n.volts(t, termB1, source{termA1, termB1, milliamp})
		sense := v[termA1]/milliamp - 2*(v[termB2]-v[termB1])/milliamp
		agree(t, "one source and a sense lead", wiring.Imbalance(wiring.ThreeWireDual, d.leads, 0), sense, d.element)

		zin := rapid.Float64Range(1e5, 1e8).Draw(t, "zin")
		loaded := d.sensor(four...)
		loaded.edges = append(loaded.edges, edge{termA2, termB2, zin})
		v = loaded.volts(t, termB1, source{termA1, termB1, milliamp})
		agree(t, "input impedance", wiring.InputLoading(d.element, d.leads, quantity.Ohm(zin)), (v[termA2]-v[termB2])/milliamp, d.element)

		leak := rapid.Float64Range(1e4, 1e8).Draw(t, "leak")
		leaky := d.sensor(four...)
		leaky.edges = append(leaky.edges, edge{elementA, elementB, leak})
		v = leaky.volts(t, termB1, source{termA1, termB1, milliamp})
		shunt := wiring.Shunt(d.element, quantity.Ohm(leak))
		agree(t, "insulation leak", shunt, (v[termA2]-v[termB2])/milliamp, d.element)
		if back := wiring.ShuntOf(d.element, shunt); math.Abs(float64(back)/leak-1) > 1e-6 {
			t.Fatalf("leak %v found as %v", leak, back)
		}

		agree(t, "b2 open, loop taken as 0", wiring.LoopOpenError(d.leads), d.sensor(measure.A1, measure.B1).between(t, termA1, termB1), d.element)
		short := n.joined(termB2, termB1)
		agree(t, "b1 and b2 shorted", wiring.LoopShortError(d.leads), short.between(t, termA1, termB1)-0, d.element)
	})
}

// Pairs of a circuit without noise give its leads and element back.
func TestPairsAgreeWithTheCircuit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		p := pairsOf(t, d)
		leads, element, closure := wiring.FromPairs4(&p)
		known := wiring.FromPairs4Known(&p, d.element)
		scale := 1e-9 * (float64(d.element) + 160)
		for l := range leads {
			if math.Abs(float64(leads[l]-d.leads[l])) > scale || math.Abs(float64(known[l]-d.leads[l])) > scale {
				t.Fatalf("lead %v: %v and %v, want %v", measure.Lead(l), leads[l], known[l], d.leads[l])
			}
		}
		if math.Abs(float64(element-d.element)) > scale || math.Abs(float64(closure)) > scale {
			t.Fatalf("element %v, closure %v, want %v and 0", element, closure, d.element)
		}
		three, sum := wiring.FromPairs3(&p)
		if math.Abs(float64(three[measure.B1]-d.leads[measure.B1])) > scale || math.Abs(float64(three[measure.B2]-d.leads[measure.B2])) > scale ||
			math.Abs(float64(sum)-float64(d.element)-d.a1()) > scale || quantity.Known(three[measure.A1]) {
			t.Fatalf("three-wire pairs give %v and %v", three, sum)
		}
	})
}

func pairsOf(t *rapid.T, d drawn) wiring.Pairs {
	n := d.sensor(four...)
	var p wiring.Pairs
	for pair, ends := range map[measure.Pair][2]int{
		measure.PairA1A2: {termA1, termA2}, measure.PairB1B2: {termB1, termB2}, measure.PairA1B1: {termA1, termB1},
		measure.PairA1B2: {termA1, termB2}, measure.PairA2B1: {termA2, termB1}, measure.PairA2B2: {termA2, termB2},
	} {
		p[pair] = quantity.Ohm(n.between(t, ends[0], ends[1]))
	}
	return p
}
