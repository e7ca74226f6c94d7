package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// FourWireVerdict says whether the leads of a loop declared four-wire can be
// those of separate current and potential leads.
type FourWireVerdict struct {
	Connection wiring.Connection // what the leads look like
	Leads      finding.LeadSet   // that give it away
	Error      quantity.Ohm      // what that connection adds to the measured resistance; NaN = not known
	Confidence float64           // 0 when sound
	Evidence   string

	form     string // of Evidence: leads 1 and 2, then p and q in Ω
	one, two measure.Lead
	p, q     quantity.Ohm
}

// explained writes the evidence of a verdict.
func (v FourWireVerdict) explained() FourWireVerdict {
	if v.form != "" {
		v.Evidence = fmt.Sprintf(v.form, v.one, v.two, float64(v.p), float64(v.q))
	}
	return v
}

// Sound reports that nothing speaks against a true four-wire connection.
func (v FourWireVerdict) Sound() bool { return v.Confidence == 0 }

// The figures of the test. A jumper and its two clamping points have a few mΩ,
// a cable core that the test can work with at least minCore.
const (
	minCore     = 0.1  // Ω; leads below it may be those of a transmitter in the head
	jumperShare = 0.15 // a "lead" below this share of the others is a jumper
	halfLow     = 0.42 // two leads under one terminal have half of one,
	halfHigh    = 0.58 // give or take the cable's spread
	coreSpread  = 0.10 // cores of one cable agree within this
)

// FalseFourWire tests leads of a loop declared four-wire. Leads that are all
// short say nothing by themselves: a transmitter in the connection head has
// leads of a few mΩ. They are held against the cable where it is stated.
func (l *Loop) FalseFourWire(leads *measure.Leads) FourWireVerdict {
	return l.falseFourWire(leads).explained()
}

// falseFourWire is FalseFourWire without the text: it allocates nothing.
func (l *Loop) falseFourWire(leads *measure.Leads) FourWireVerdict {
	if l.spec.Wires != 4 || l.spec.Method != wiring.FourWire && l.spec.Method != wiring.DeviceCorrected {
		return FourWireVerdict{}
	}
	for _, o := range leads {
		if !quantity.Known(o) {
			return FourWireVerdict{}
		}
	}
	if l.alike(leads) {
		return l.bothJumpered(leads)
	}
	a := side{measure.A1, measure.A2, leads[measure.A1], leads[measure.A2]}
	b := side{measure.B1, measure.B2, leads[measure.B1], leads[measure.B2]}
	for _, try := range [...]func(x, y side) FourWireVerdict{l.oneLeadMissing, l.sideJumpered, l.sideHalved} {
		for _, s := range [...][2]side{{a, b}, {b, a}} {
			if v := try(s[0], s[1]); !v.Sound() {
				return v
			}
		}
	}
	return l.bothJumpered(leads)
}

// alikeShare is the share of the largest lead above which the smallest is neither
// a jumper beside it nor a half of it (halfHigh), whoever is whose neighbour.
const alikeShare = 0.6

// alike tells whether no lead can be told from the others by its size: then the
// tests of lead against lead, which are many, have nothing to find.
func (l *Loop) alike(leads *measure.Leads) bool {
	low := min(leads[0], leads[1], leads[2], leads[3])
	high := max(leads[0], leads[1], leads[2], leads[3])
	return low > alikeShare*high+l.est.accuracy+l.est.step
}

// side is the pair of leads on one side of the element.
type side struct {
	first, second measure.Lead
	x, y          quantity.Ohm
}

func (s side) low() quantity.Ohm       { return min(s.x, s.y) }
func (s side) high() quantity.Ohm      { return max(s.x, s.y) }
func (s side) mean() quantity.Ohm      { return (s.x + s.y) / 2 }
func (s side) leads() finding.LeadSet  { return finding.LeadsOf(s.first, s.second) }
func (s side) alike(by float64) bool   { return float64(s.high()-s.low()) <= by }
func (s side) onB() bool               { return s.first == measure.B1 }
func (s side) lowest() finding.LeadSet { return finding.LeadsOf(s.lowestLead()) }

func (s side) lowestLead() measure.Lead {
	if s.x < s.y {
		return s.first
	}
	return s.second
}

// jumper reports whether o, beside leads of at least core, is a jumper rather
// than a lead.
func (l *Loop) jumper(o, core quantity.Ohm) bool {
	return core >= minCore && core-o > 4*(l.est.accuracy+l.est.step) &&
		o <= quantity.Ohm(jumperShare)*core+l.est.accuracy+l.est.step
}

// oneLeadMissing: one terminal is reached over a short jumper, its neighbour's
// conductor carries current and potential.
func (l *Loop) oneLeadMissing(s, other side) FourWireVerdict {
	if !l.jumper(s.low(), min(s.high(), other.low())) {
		return FourWireVerdict{}
	}
	v := FourWireVerdict{Connection: wiring.JumperA, Leads: s.lowest(), Error: s.high(), Confidence: 0.95}
	if s.onB() {
		v.Connection = wiring.JumperB
	}
	v.form = "lead %[1]v has %.3[3]f Ω where the others have %.3[4]f Ω or more: a jumper at the transmitter, its own conductor not landed"
	v.one, v.p, v.q = s.lowestLead(), s.low(), min(s.high(), other.low())
	return v
}

// sideJumpered: both terminals of a side are one point, both conductors landed.
// What they have in parallel is in the reading, and out of sight: the other
// side stands in for it.
func (l *Loop) sideJumpered(s, other side) FourWireVerdict {
	if !l.jumper(s.high(), other.low()) {
		return FourWireVerdict{}
	}
	v := FourWireVerdict{Connection: wiring.JumperALanded, Leads: s.leads(), Error: wiring.Parallel(other.x, other.y), Confidence: 0.9}
	if s.onB() {
		v.Connection = wiring.JumperBLanded
	}
	v.form = "leads %[1]v and %[2]v have %.3[3]f Ω at most where the other side has %.3[4]f Ω or more: their terminals are joined at the transmitter"
	v.one, v.two, v.p, v.q = s.first, s.second, s.high(), other.low()
	return v
}

// sideHalved: two leads under one terminal, seen as half a lead in both values.
func (l *Loop) sideHalved(s, other side) FourWireVerdict {
	ratio := float64(s.mean() / other.mean())
	near := 2 * float64(l.est.accuracy+l.est.step)
	if !(ratio > halfLow && ratio < halfHigh) || s.mean() < minCore || s.mean() < 8*(l.est.accuracy+l.est.step) ||
		!s.alike(coreSpread*float64(s.mean())+near) || !other.alike(coreSpread*float64(other.mean())+near) {
		return FourWireVerdict{}
	}
	if l.est.cable > 0 && math.Abs(float64(other.mean()/l.est.cable)-1) > CableDoubt {
		return FourWireVerdict{} // the larger side is not the cable: it has grown, the smaller one is sound
	}
	v := FourWireVerdict{Connection: wiring.JumperALanded, Leads: s.leads(), Error: s.mean(), Confidence: 0.7}
	if s.onB() {
		v.Connection = wiring.JumperBLanded
	}
	v.form = "leads %[1]v and %[2]v both have %.3[3]f Ω, half of the other side's %.3[4]f Ω: two conductors under one terminal, one value in two registers"
	v.one, v.two, v.p, v.q = s.first, s.second, s.mean(), other.mean()
	return v
}

// bothJumpered: no lead is seen at all where the cable should have one.
func (l *Loop) bothJumpered(leads *measure.Leads) FourWireVerdict {
	core, high := l.est.cable*(1-CableDoubt), max(leads[0], leads[1], leads[2], leads[3])
	if !l.jumper(high, core) {
		return FourWireVerdict{}
	}
	return FourWireVerdict{
		Connection: wiring.JumperBothLanded, Leads: finding.LeadsOf(measure.A1, measure.A2, measure.B1, measure.B2), Error: l.est.cable, Confidence: 0.8,
		form: "all four leads have %.3[3]f Ω at most where the cable should have %.3[4]f Ω: both sides are joined at the transmitter",
		p:    high, q: l.est.cable,
	}
}

// pOver is the probability that a plain error is over the limits: 0 or 1.
func (l *Loop) pOver(e quantity.DeltaC) float64 {
	high, low := positive(l.spec.LimitHigh), positive(-l.spec.LimitLow)
	switch {
	case !high && !low:
		return math.NaN()
	case high && e > l.spec.LimitHigh, low && e < l.spec.LimitLow:
		return 1
	}
	return 0
}

// Counts of samples that SameRegister needs before it speaks.
const (
	sameSamples = 50
	sameValues  = 8
)

// SameRegister tests a series for one value that stands in two registers: two
// leads equal bit for bit in every sample although their value moves through at
// least eight steps. Separate leads round to different steps at different
// moments. ok is false where the series is too short or too still to tell.
func SameRegister(samples []measure.Sample, x, y measure.Lead) (same, ok bool) {
	seen := map[quantity.Ohm]bool{}
	n := 0
	for i := range samples {
		p, q := samples[i].Leads[x], samples[i].Leads[y]
		if !samples[i].Quality.Usable() || !quantity.Known(p) || !quantity.Known(q) {
			continue
		}
		if p != q {
			return false, true
		}
		seen[p] = true
		n++
	}
	return true, n >= sameSamples && len(seen) >= sameValues
}
