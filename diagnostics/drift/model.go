package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// channels is how many lead values a transmitter can report at most.
const channels = measure.LeadCount

// channel is one lead value that the transmitter reports: a lead, or the sum of
// two.
type channel struct {
	lead  measure.Lead    // the lead, or the first of a sum
	named finding.LeadSet // what a finding on this channel may name; empty for sums
	side  finding.LeadSet // leads that share the element side
	coef  float64         // Ω of reading error per Ω of this channel; NaN where a sum hides it
	sum   bool
}

// model is what New derives from a specification. It is never written again, so
// every copy of an engine shares it.
type model struct {
	spec *diagnostics.Spec
	n    int // channels in use
	ch   [channels]channel
	raw  float64 // 1 when sensor values contain the imbalance, 0 when they are the element alone
	low  float64 // ends of the sensor curve, Ω
	high float64
	up   bool // a contact in a lead that is not reported raises the sensor value
	down bool // or lowers it
	none bool // the method takes every lead out of the reading
	sees bool // the lead values give the reading error
}

func newModel(spec *diagnostics.Spec) (*model, error) {
	leads := spec.Leads()
	if len(leads) == 0 {
		return nil, fmt.Errorf("%s: %d wires: want 2, 3 or 4", spec.Tag, spec.Wires)
	}
	if !spec.Sensor.Valid() {
		return nil, fmt.Errorf("%s: no sensor curve; state one such as Pt100", spec.Tag)
	}
	m := &model{spec: spec, raw: 1}
	if spec.SensorIs == wiring.ElementOnly {
		m.raw = 0
	}
	lo, hi := spec.Sensor.Span()
	m.low, m.high = float64(lo), float64(hi)
	coef := wiring.Coefficients(spec.Method)
	m.none = coef == [measure.LeadCount]float64{}
	sideA := finding.LeadsOf(measure.A1, measure.A2)
	for _, l := range leads {
		c := channel{lead: l, named: finding.LeadsOf(l), side: finding.LeadsOf(measure.B1, measure.B2), coef: coef[l]}
		if sideA.Has(l) {
			c.side = sideA
		}
		switch spec.Reports {
		case wiring.AllLeads:
			m.add(c)
		case wiring.PairsOnly:
			if l == measure.B1 || l == measure.B2 {
				m.add(c)
			}
		case wiring.LoopsOnly:
			if (l == measure.A1 && spec.Wires == 4) || (l == measure.B1 && spec.Wires > 2) {
				c.sum, c.named = true, 0
				if c.coef = math.NaN(); spec.Method == wiring.FourWire {
					c.coef = 0
				}
				m.add(c)
			}
		}
	}
	m.hide()
	m.sees = m.n > 0 && spec.Reports != wiring.ReadingOnly
	for _, c := range m.ch[:m.n] {
		m.sees = m.sees && !math.IsNaN(c.coef)
	}
	return m, nil
}

func (m *model) add(c channel) {
	m.ch[m.n] = c
	m.n++
}

// value returns what the sample says on channel k, Ω.
func (m *model) value(s *measure.Sample, k int) float64 {
	c := &m.ch[k]
	switch {
	case !c.sum:
		return float64(s.Leads[c.lead])
	case c.lead == measure.A1:
		return float64(s.LoopA)
	}
	return float64(s.LoopB)
}

// slope returns dR/dt of the sensor at a temperature in °C, at the nearest end
// of the curve where that is outside.
func (m *model) slope(t float64) float64 {
	lo, hi := m.spec.Sensor.Range()
	if math.IsNaN(t) {
		t = 0
	}
	t = min(max(t, float64(lo)), float64(hi))
	return float64(m.spec.Sensor.SlopeAt(quantity.DegC(t)))
}

// name returns how people call channel k.
func (m *model) name(k int) string {
	c := &m.ch[k]
	switch {
	case !c.sum:
		return "lead " + c.lead.String()
	case c.lead == measure.A1:
		return "the sum a1 + a2"
	}
	return "the sum b1 + b2"
}
