package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// limits reports a loop that is over its limit while nothing about its contacts
// stands: leads of different lengths, say. Three days must agree.
func (e *Engine) limits(p *picture, out []finding.Finding) []finding.Finding {
	s := &e.s.Error
	x := recentShare(s.Hi[:])
	side, lim := "upper", float64(e.m.spec.LimitHigh)
	if l := recentShare(s.Lo[:]); !e.fourWire() && (l > x || math.IsNaN(x)) {
		x, side, lim = l, "lower", float64(e.m.spec.LimitLow)
	}
	need := 1 + e.flicker(p.t)/math.Abs(lim)
	if e.m.spec.Reports != wiring.AllLeads { // an assumption alone calls nobody out
		need += e.expanded(p.t) / e.tightLimit()
	}
	if e.m.spec.Reports == wiring.PairsOnly { // what the assumption made in the baseline says nothing
		need += math.Abs(s.Home / lim)
	}
	if s.Kept < 3 || !(x >= need) || e.s.Found[aboutContact].Kind != 0 || e.s.Found[aboutWiring].Kind != 0 {
		switch {
		case !(x >= 0.95): // deadband
			out = e.clear(aboutLimit, p.at, "back within the limit for three days", out)
		case e.Carries(quantity.DeltaC(lim)):
			out = e.clear(aboutLimit, p.at, "told by the finding about its cause from now on", out)
		}
		return out
	}
	c := claim{kind: finding.Imbalance, severity: finding.OutOfSpec, since: p.at - 3*dayS, contact: nan, sure: 0.9}
	c.evidence = say("the reading error is at %.0f %% of its %s limit of %+.2f °C for 5 %% of each of three days, and no contact stands that would explain it", x*100, side, lim)
	if e.leadLimited() {
		c.kind = finding.LeadLimit
		c.evidence = fmt.Sprintf("the largest lead is at %.0f %% of the %.2f Ω up to which the device works", x*100, float64(e.m.spec.LeadLimit))
	}
	return e.raise(aboutLimit, p.at, &c, out)
}

// flicker returns what rounding and the noise of a sound input add to the error
// that a slot shows for 5 % of a day, °C: 1.64 standard deviations. Noise averages
// over the samples of a slot, rounding does not. While another filter of the device
// may be coming the noise is that of the last block: two days must pass before it is
// known for one, and two noisy days would do to call the loop out.
func (e *Engine) flicker(t float64) float64 {
	n := min(max(slotS/float64(max(e.s.Step, 1)), 1), picks)
	v, filter := 0.0, e.s.Filter.filtering(e.s.Hiss.steady())
	for k := range e.m.n {
		if c := &e.m.ch[k]; c.coef == c.coef {
			noise, round := e.s.Ch[k].quiet(), float64(e.s.Grid.Step)
			if filter {
				noise = max(noise, e.s.Ch[k].Sigma)
			}
			v += c.coef * c.coef * (noise*noise/n + round*round/12)
		}
	}
	return normal95 * math.Sqrt(v) / e.m.slope(t)
}

// quiet returns the standard deviation of single values of a sound channel, Ω: of
// the last block where another filter of the device makes it learnt anew.
func (c *chState) quiet() float64 {
	if c.QuietN == 0 {
		return c.Sigma
	}
	return float64(c.Quiet)
}

// normal95 is the normal quantile of 95 %.
const normal95 = 1.645

// worse returns the daily shares of the side on which the loop is nearer to its
// limit.
func (s *errorState) worse() []float32 {
	if recentShare(s.Lo[:]) > recentShare(s.Hi[:]) {
		return s.Lo[:]
	}
	return s.Hi[:]
}

// tightLimit returns the smaller of the two limits, °C.
func (e *Engine) tightLimit() float64 {
	return min(float64(e.m.spec.LimitHigh), -float64(e.m.spec.LimitLow))
}

// Bad values from which the data are called implausible: so many in ten days, and
// such a share of the samples, for a fast poll collects more of them without being
// the worse for it. At a third of it they are plausible again.
const (
	badMany  = 30
	badShare = 0.02
)

// telegrams reports lead values that no lead can have, when there are many.
func (e *Engine) telegrams(p *picture, out []finding.Finding) []finding.Finding {
	bad := e.s.Sensor.Bad - e.s.Sensor.Noisy
	many := max(badMany, float32(badShare*spikeFade)/max(e.s.Step, 1))
	switch {
	case bad > many && e.s.Low == 0:
		c := claim{kind: finding.Implausible, severity: finding.Maintenance, since: p.at, contact: nan, sure: 0.9}
		c.evidence = fmt.Sprintf("%.0f lead values in about ten days are zero, negative, beyond any lead, or contradicted by the sensor value (called from %.0f)", bad, many)
		return e.raise(aboutData, p.at, &c, out)
	case bad < many/3:
		return e.clear(aboutData, p.at, "lead values are plausible again", out)
	}
	return out
}
