package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

// restless tells whether a channel moved by more than x within yesterday and
// within today: after a step it is quiet again, a loose contact is not.
func (c *chState) restless(x float64) bool {
	return c.UN >= 8 && span(c.U[recent-8:recent-4]) > x && span(c.U[recent-4:]) > x
}

// returns tells whether a channel fell by more than x within two days: what comes
// and goes does, what only grows moves as much within a day and never falls.
func (c *chState) returns(x float64) bool {
	high := math.Inf(-1)
	for _, v := range c.U[recent-min(int(c.UN), 8):] {
		if u := float64(v); u < high-x {
			return true
		} else if u > high {
			high = u
		}
	}
	return false
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

// wetTurns are the turns from which a level is said to follow wet and dry spells:
// up, down, up and down again.
const wetTurns = 3

// wild is how much a drifting contact may move within days, as a share of its
// level: humidity makes it some 10 %.
const wild = 0.3

// clockShare is by how much the share of the movement that repeats daily must
// exceed what the temperature of the cable explains: a contact that follows warmth
// lags behind by hours at most and leaves less; a shift begins and ends by the
// clock, on warm and on cold days.
const clockShare = 0.2

// noiseAge is about how long before it is called noise began to grow, s: the
// mean age of what is smoothed (hissWeight) is two and a half days.
const noiseAge = 3 * dayS

// name finds the kind of what channel k shows.
func (e *Engine) name(k int, p *picture, c *claim) {
	ch := &e.s.Ch[k]
	c.severity, c.since, c.sure = finding.Maintenance, ch.Rise, 0.9
	c.contact = p.quick[k]
	f, d := ch.Swing.byCopper(), ch.Swing.byDay()
	x := ch.Swing.size()
	swings := e.m.n > 1 && x > 0.5*p.limit[k] && x > 0.15*math.Abs(p.level[k]) && x > 2*float64(ch.Calm)
	moves := swings && (ch.restless(0.2*math.Abs(p.level[k])) || x > wild*p.level[k] && e.wavers(k, p))
	switch {
	case e.spiking(k) && !(float64(ch.Spike.Size) <= p.level[k]):
		c.kind, c.contact = finding.LeadIntermittent, float64(ch.Spike.Size)
		sure, all := e.spikeNeed(k)
		c.evidence = say("%.1f short rises of %s in about ten days (older ones fade), %s on average (at least %s), %.1f of them seen in the sensor value as well; called from %.1f seen there, %.1f in all or odds of %.0f : 1 against bad values (they are %s : 1)",
			ch.Spike.Sure+ch.Spike.Maybe, e.m.name(k), ohms(float64(ch.Spike.Size)), ohms(e.spikeWorth(k)), ch.Spike.Sure, sure, all, math.Round(math.Exp(oddsCall)/1000)*1000, ch.Spike.odds())
	case e.voltage(k, p) || p.level[k] < -2*p.limit[k]:
		c.kind = finding.ThermalEMF
		c.evidence = say("%s is %s below its copper (median of two days, threshold %s) and came there slowly; it moves by ±%s within days: no contact can lower a lead, a voltage can", e.m.name(k), ohms(-p.level[k]), ohms(e.fallWorth(k, p)), ohms(x))
	case (e.noisy(k, p) || e.crackles(k, p)) && (ch.Spike.Sure+ch.Spike.Maybe < 2 || p.level[k] < p.limit[k]/2) && (p.level[k] < p.limit[k] || e.noise(k) > 2*x):
		c.kind, c.contact = finding.LeadNoise, e.noise(k)
		c.since = min(c.since, p.at-noiseAge)
		c.evidence = say("single values of %s scatter by ±%s more than those of the other leads (threshold %s), %.2f times as much as in the baseline against every other lead (threshold %.2f)",
			e.m.name(k), ohms(e.noise(k)), ohms(min(e.noiseWorth(k, p), e.crackleWorth(k, p))), math.Exp(e.s.Hiss.alone(k, e.m.n)), noiseMore)
	case e.thermocouple(k, p):
		g := e.coupling(k)
		c.kind = finding.ThermalEMF
		c.evidence = say("%s moves by ±%s within days around %s (threshold %s), copper taken off, as a voltage between the head of a process at %.0f °C and its box does: their temperature difference explains %.0f %% of it (called from %.0f %% where the process moves, else from %.0f %%), %.2g mΩ/K, and its level is to that side: a junction of two metals, not a contact",
			e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), p.t, g.share*100, coupleShare*100.0, coupleStill*100.0, g.gain*1e3)
	case swings && x > wild*p.level[k] && d-f*f > clockShare:
		c.kind = finding.LeadIntermittent
		c.evidence = say("%s comes and goes by the hour of the day by ±%s around %s (threshold %s), copper taken off: %.0f %% of it repeats daily and the temperature of the cable explains %.0f %% (called so from %.0f %% more), so it is what happens then (vibration of a shift), not warmth", e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), d*100, f*f*100, clockShare*100)
	case moves && (math.Abs(f) > 0.4 || d > 0.25), moves && x > wild*p.level[k] && (math.Abs(f) > 0.2 || d > 0.1):
		c.kind = finding.LeadThermal
		c.evidence = say("%s moves by ±%s within days around %s (threshold %s), copper taken off, with the temperature of the cable (correlation %.2f, %.0f %% of it repeats daily; in the baseline it moved by at most ±%s)", e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), f, d*100, ohms(float64(ch.Calm)))
	case ch.Turns >= wetTurns:
		c.kind = finding.LeadMoisture
		c.evidence = say("the contact of %s came and went over days: %d turns (called so from %d) of %.0f %% of its peak of %s or more; now %s, threshold %s", e.m.name(k), ch.Turns, wetTurns, turnShare*100, ohms(ch.Peak), ohms(p.level[k]), ohms(p.limit[k]))
	case moves && x > wild*p.level[k] && ch.returns(x):
		c.kind = finding.LeadIntermittent
		c.evidence = say("%s comes and goes within days by ±%s around %s (threshold %s), copper taken off, and with no temperature (correlation with that of the cable %.2f, of the process %.2f)", e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), f, e.coupling(k).process)
	case ch.abrupt(p.raw[k]), p.level[k] < p.limit[k] && ch.abrupt(p.quick[k]): // too new for a level of two days
		c.kind = finding.LeadStep
		c.since, _ = ch.stepped()
		c.evidence = say("%s rose by %s %s and stayed: now %s beyond its copper, threshold %s (%s)", e.m.name(k), ohms(ch.Jump), ch.when(), ohms(p.quick[k]), ohms(p.limit[k]), e.rule(k, p))
	default:
		c.kind = finding.LeadDrift
		c.evidence = say("%s is %s beyond its copper (median of two days), threshold %s (%s); it was last near its baseline on %s", e.m.name(k), ohms(p.level[k]), ohms(p.limit[k]), e.rule(k, p), day(ch.Rise))
	}
}
