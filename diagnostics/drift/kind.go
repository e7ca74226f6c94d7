package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
)

// restless tells whether a channel moved by more than x within yesterday and
// within today: after a step it is quiet again, a loose contact is not.
func (c *chState) restless(x float64) bool {
	return c.UN >= 8 && span(c.U[recent-8:recent-4]) > x && span(c.U[recent-4:]) > x
}

// span returns the largest less the smallest of the numbers in x.
func span(x []float32) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if v == v {
			lo, hi = min(lo, float64(v)), max(hi, float64(v))
		}
	}
	return hi - lo
}

// junction tells whether a level swings with the temperature of the terminals as
// a thermocouple would whose other junction is at the process: e ∝ T − T_box, so
// de/dT_box = −e/(T − T_box). The copper factor gives T_box: df/dT_box = α.
func (e *Engine) junction(k int, p *picture) bool {
	s := &e.s.Ch[k].Swing
	hot := p.t - boxTemp
	if !(math.Abs(hot) > junctionApart) || p.level[k] < 2*p.limit[k] || s.FF == 0 || math.Abs(s.byCopper()) < 0.35 {
		return false
	}
	r := float64(s.UF/s.FF) / (-p.level[k] / (hot * copper.Alpha20))
	return r > 0.35 && r < 2.8
}

// junctionApart is how far the process must be from the box, K. Nearer to it the
// swing of a thermocouple is as large as that of a damp contact, a tenth of its
// level per kelvin, and a contact is by far the more common of the two.
const junctionApart = 15

// boxTemp stands for the temperature of a junction box, °C; common practice.
const boxTemp = 25

// wetTurns are the turns from which a level is said to follow wet and dry spells:
// up, down, up and down again.
const wetTurns = 3

// wild is how much a drifting contact may move within days, as a share of its
// level: humidity makes it some 10 %.
const wild = 0.3

// name finds the kind of what channel k shows.
func (e *Engine) name(k int, p *picture, c *claim) {
	ch := &e.s.Ch[k]
	c.severity, c.since, c.sure = finding.Maintenance, ch.Rise, 0.9
	c.contact = p.quick[k]
	f, t, d := ch.Swing.byCopper(), ch.Swing.byProcess(), ch.Swing.byDay()
	x := ch.Swing.size()
	moves := e.m.n > 1 && x > 0.5*p.limit[k] && ch.restless(0.2*math.Abs(p.level[k])) && x > 0.15*math.Abs(p.level[k]) && x > 2*float64(ch.Calm)
	switch {
	case e.spiking(k) && !(float64(ch.Spike.Size) <= p.level[k]):
		c.kind, c.contact = finding.LeadIntermittent, float64(ch.Spike.Size)
		c.evidence = fmt.Sprintf("%.0f short rises of %s in about ten days, %.1f mΩ in the mean, %.0f of them seen in the sensor value as well", ch.Spike.Sure+ch.Spike.Maybe, e.m.name(k), ch.Spike.Size*1e3, ch.Spike.Sure)
	case e.voltage(k, p) || p.level[k] < -2*p.limit[k]:
		c.kind = finding.ThermalEMF
		c.evidence = fmt.Sprintf("%s is %.1f mΩ lower than its copper for two days and came there slowly, swing ±%.1f mΩ: no contact can do that, a voltage can", e.m.name(k), -p.level[k]*1e3, x*1e3)
	case e.noisy(k, p) && ch.Spike.Sure+ch.Spike.Maybe < 2 && (p.level[k] < p.limit[k] || e.noise(k) > 3*x):
		c.kind, c.contact = finding.LeadNoise, e.noise(k)
		c.evidence = fmt.Sprintf("single values of %s scatter by ±%.1f mΩ, %.2f times the baseline or more against every other lead, while the others do not", e.m.name(k), e.noise(k)*1e3, math.Exp(e.s.Hiss.alone(k, e.m.n)))
	case e.junction(k, p) && !(math.Abs(t) > math.Abs(f)+0.1):
		c.kind = finding.ThermalEMF
		c.evidence = fmt.Sprintf("%s swings by ±%.1f mΩ around %.1f mΩ with the temperature of the cable (correlation %.2f), by as much and to the side as a voltage between a process at %.0f °C and the box does: a junction of two metals, or a loose contact that opens with it", e.m.name(k), x*1e3, p.level[k]*1e3, f, p.t)
	case moves && math.Abs(t) > 0.5 && math.Abs(t) > math.Abs(f)+0.1, e.junction(k, p):
		c.kind = finding.ThermalEMF
		c.evidence = fmt.Sprintf("%s swings by ±%.1f mΩ around %.1f mΩ with the process temperature (correlation %.2f; with the cable's %.2f)", e.m.name(k), x*1e3, p.level[k]*1e3, t, f)
	case moves && (math.Abs(f) > 0.4 || d > 0.25), moves && x > wild*p.level[k] && (math.Abs(f) > 0.2 || d > 0.1):
		c.kind = finding.LeadThermal
		c.evidence = fmt.Sprintf("%s swings by ±%.1f mΩ around %.1f mΩ with the temperature of the cable (correlation %.2f, %.0f %% of it daily), copper taken off", e.m.name(k), x*1e3, p.level[k]*1e3, f, d*100)
	case ch.Turns >= wetTurns:
		c.kind = finding.LeadMoisture
		c.evidence = fmt.Sprintf("contact part of %s came and went over days, %d turns of %.0f %% of its peak of %.1f mΩ or more; now %.1f mΩ", e.m.name(k), ch.Turns, turnShare*100, ch.Peak*1e3, p.level[k]*1e3)
	case moves && x > wild*p.level[k]:
		c.kind = finding.LeadIntermittent
		c.evidence = fmt.Sprintf("%s comes and goes within days: ±%.1f mΩ around %.1f mΩ, with no temperature (cable %.2f, process %.2f)", e.m.name(k), x*1e3, p.level[k]*1e3, f, t)
	case ch.abrupt(p.raw[k]):
		c.kind = finding.LeadStep
		c.evidence = fmt.Sprintf("%s rose by %.1f mΩ at %s and stayed; threshold %.1f mΩ", e.m.name(k), ch.Jump*1e3, clock(ch.JumpAt), p.limit[k]*1e3)
	default:
		c.kind = finding.LeadDrift
		c.evidence = fmt.Sprintf("contact part of %s is %.1f mΩ over two days, threshold %.1f mΩ, since %s", e.m.name(k), p.level[k]*1e3, p.limit[k]*1e3, day(ch.Rise))
	}
}
