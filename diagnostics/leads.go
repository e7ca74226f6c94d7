package diagnostics

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// takeLeads copies the leads of a sample into out, impossible ones as absent,
// and returns the first reason against them.
func (e *estimator) takeLeads(s *measure.Sample, out *estimate) Reason {
	if reason := e.extraLead(s); reason != "" {
		return reason
	}
	if e.fromPairs(s) {
		return e.takePairs(s, out)
	}
	var first Reason
	for l := measure.A1; l <= measure.B2; l++ {
		if !e.reported(l) {
			continue
		}
		if reason := e.judge(s.Leads[l], l); reason == "" {
			out.leads[l] = s.Leads[l]
		} else if first == "" {
			first = reason
		}
	}
	if first == "" {
		first = e.checkLoops(s, out)
	}
	return first
}

// reported says whether the report level holds a lead.
func (e *estimator) reported(l measure.Lead) bool {
	switch {
	case e.reports == wiring.AllLeads:
		return e.has(l)
	case e.reports == wiring.PairsOnly:
		return l == measure.B1 || l == measure.B2
	}
	return false
}

// has says whether the loop has a lead.
func (e *estimator) has(l measure.Lead) bool {
	switch l {
	case measure.A2:
		return e.wires == 4
	case measure.B2:
		return e.wires >= 3
	}
	return true
}

// extraLead finds a lead that the configured wiring cannot report.
func (e *estimator) extraLead(s *measure.Sample) Reason {
	if quantity.Known(s.Leads[measure.A2]) && e.wires != 4 ||
		quantity.Known(s.Leads[measure.B2]) && e.wires == 2 ||
		quantity.Known(s.Leads[measure.A1]) && e.reports == wiring.PairsOnly {
		return reasonExtraLead
	}
	return ""
}

// judge says why a lead value cannot be true.
func (e *estimator) judge(o quantity.Ohm, l measure.Lead) Reason {
	f := float64(o)
	switch {
	case math.IsNaN(f):
		return reasonMissing[l]
	case math.IsInf(f, 0):
		return reasonInfinite[l]
	case o < -(e.accuracy + e.step): // smaller negative values are noise about 0
		return reasonNegative[l]
	case o > MaxLead:
		return reasonAbsurd[l]
	}
	return ""
}

// checkLoops holds the leads against the loops where both are reported, and
// asks for the loops where they are all there is.
func (e *estimator) checkLoops(s *measure.Sample, out *estimate) Reason {
	if e.reports == wiring.LoopsOnly {
		return e.needLoops(s)
	}
	apart := 3 * (e.accuracy + e.step)
	b := s.LoopB - out.leads[measure.B1] - out.leads[measure.B2]
	a := s.LoopA - out.leads[measure.A1] - out.leads[measure.A2]
	if b > apart || b < -apart || a > apart || a < -apart { // false where something is absent
		return reasonLoopMismatch
	}
	return ""
}

func (e *estimator) needLoops(s *measure.Sample) Reason {
	switch {
	case e.wires == 4 && (math.IsNaN(float64(s.LoopA)) || math.IsNaN(float64(s.LoopB))):
		return reasonNoLoops
	case e.wires == 3 && math.IsNaN(float64(s.LoopB)):
		return reasonNoLoopB
	case !e.soundLoop(s.LoopB) || e.wires == 4 && !e.soundLoop(s.LoopA):
		return reasonBadLoop
	}
	return ""
}

// fromPairs says whether the leads have to be computed from terminal pairs:
// pairs are there and single leads are not.
func (e *estimator) fromPairs(s *measure.Sample) bool {
	if e.reports > wiring.PairsOnly || !quantity.Known(s.Pairs[measure.PairA1B1]) {
		return false
	}
	return !quantity.Known(s.Leads[measure.B1]) && (e.wires == 4 || e.reports == wiring.PairsOnly)
}

// takePairs separates the leads. The closure of four-wire pairs has four times
// the limit of one pair at most.
func (e *estimator) takePairs(s *measure.Sample, out *estimate) Reason {
	pairs := wiring.Pairs(s.Pairs)
	for _, p := range pairs {
		if float64(p) < -float64(e.accuracy+e.step) || math.IsInf(float64(p), 0) {
			return reasonBadPair
		}
	}
	if e.wires == 3 {
		out.leads, _ = wiring.FromPairs3(&pairs)
	} else {
		out.leads, _, out.closure = wiring.FromPairs4(&pairs)
	}
	for l := measure.A1; l <= measure.B2; l++ {
		if !e.reported(l) {
			continue
		}
		if reason := e.judge(out.leads[l], l); reason != "" {
			out.leads[l] = quantity.Ohm(math.NaN())
			return reason
		}
	}
	limit := 4 * (e.accuracy + e.step)
	if out.closure > limit || out.closure < -limit {
		return reasonClosure
	}
	return ""
}
