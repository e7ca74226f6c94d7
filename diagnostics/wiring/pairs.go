package wiring

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Pairs holds the resistance between two terminals each, indexed by
// measure.Pair; NaN = not measured.
type Pairs [measure.PairCount]quantity.Ohm

// Weights says how much each pair adds to each lead.
type Weights [measure.LeadCount][measure.PairCount]float64

// The least-squares solutions. Columns: a1a2 b1b2 a1b1 a1b2 a2b1 a2b2.
var (
	// Three wires: exact, and nothing is known of a1.
	weights3 = Weights{
		measure.B1: {0, 0.5, 0.5, -0.5, 0, 0},
		measure.B2: {0, 0.5, -0.5, 0.5, 0, 0},
	}
	// Four wires: six readings, five unknowns. Each difference of a side is
	// measured twice, against b1 and b2, and the mean taken.
	weights4 = Weights{
		measure.A1: {0.5, 0, 0.25, 0.25, -0.25, -0.25},
		measure.A2: {0.5, 0, -0.25, -0.25, 0.25, 0.25},
		measure.B1: {0, 0.5, 0.25, -0.25, 0.25, -0.25},
		measure.B2: {0, 0.5, -0.25, 0.25, -0.25, 0.25},
	}
)

// PairWeights returns the least-squares weights of three- or four-wire pairs;
// with equal noise u of each pair a lead has 0.866 u (three wires, b1 and b2
// correlated −1/3) or 0.707 u (four wires, a1 and b1 uncorrelated).
func PairWeights(wires int) Weights {
	switch wires {
	case 3:
		return weights3
	case 4:
		return weights4
	}
	return Weights{}
}

// FromPairs3 separates b1 and b2 of a three-wire loop: b1 − b2 =
// p(a1b1) − p(a1b2), b1 + b2 = p(b1b2). a1 is absent: it cannot be told from
// the element, only their sum is known.
func FromPairs3(p *Pairs) (leads measure.Leads, elementAndA1 quantity.Ohm) {
	leads = measure.NoLeads()
	leads[measure.B1] = p.dot(&weights3[measure.B1])
	leads[measure.B2] = p.dot(&weights3[measure.B2])
	return leads, (p[measure.PairA1B1] + p[measure.PairA1B2] - p[measure.PairB1B2]) / 2
}

// FromPairs4 separates all four leads and the element by least squares. The
// closure p(a1b1) + p(a2b2) − p(a1b2) − p(a2b1) is zero but for errors of the
// pairs, twice the noise of one; a larger one means values of different moments,
// a leak between leads, or a wrong register.
func FromPairs4(p *Pairs) (leads measure.Leads, element, closure quantity.Ohm) {
	for l := range leads {
		leads[l] = p.dot(&weights4[l])
	}
	cross := p[measure.PairA1B1] + p[measure.PairA1B2] + p[measure.PairA2B1] + p[measure.PairA2B2]
	element = cross/4 - (p[measure.PairA1A2]+p[measure.PairB1B2])/2
	return leads, element, Closure(p)
}

// Closure returns p(a1b1) + p(a2b2) − p(a1b2) − p(a2b1), NaN unless all four
// cross pairs are known.
func Closure(p *Pairs) quantity.Ohm {
	return p[measure.PairA1B1] + p[measure.PairA2B2] - p[measure.PairA1B2] - p[measure.PairA2B1]
}

// FromPairs4Known is FromPairs4 with the element known from the four-wire
// reading: six readings, four unknowns, 0.645 u a lead.
func FromPairs4Known(p *Pairs, element quantity.Ohm) measure.Leads {
	y := *p
	for _, c := range []measure.Pair{measure.PairA1B1, measure.PairA1B2, measure.PairA2B1, measure.PairA2B2} {
		y[c] -= element
	}
	total := y[0] + y[1] + y[2] + y[3] + y[4] + y[5]
	var leads measure.Leads
	for l, pairs := range pairsOf {
		leads[l] = (y[pairs[0]]+y[pairs[1]]+y[pairs[2]])/2 - total/6
	}
	return leads
}

// pairsOf lists the three pairs in which each lead takes part.
var pairsOf = [measure.LeadCount][3]measure.Pair{
	measure.A1: {measure.PairA1A2, measure.PairA1B1, measure.PairA1B2},
	measure.A2: {measure.PairA1A2, measure.PairA2B1, measure.PairA2B2},
	measure.B1: {measure.PairB1B2, measure.PairA1B1, measure.PairA2B1},
	measure.B2: {measure.PairB1B2, measure.PairA1B2, measure.PairA2B2},
}

// dot sums the pairs by weight; pairs of weight 0 may be absent.
func (p *Pairs) dot(w *[measure.PairCount]float64) quantity.Ohm {
	sum, any := quantity.Ohm(0), false
	for i, x := range w {
		if x != 0 {
			sum += quantity.Ohm(x) * p[i]
			any = true
		}
	}
	if !any {
		return quantity.Ohm(math.NaN())
	}
	return sum
}
