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
		c.evidence = e.saySpikes(k)
		if e.onceOnly(k) {
			c.sure = plainSure
		}
	case e.voltage(k, p) || p.level[k] < -2*p.limit[k]:
		c.kind = finding.ThermalEMF
		c.evidence = e.sayBelow(k, p)
	case (e.noisy(k, p) || e.crackles(k, p)) && (ch.Spike.Sure+ch.Spike.Maybe < 2 || p.level[k] < p.limit[k]/2) && (p.level[k] < p.limit[k] || e.noise(k) > 2*x):
		c.kind, c.contact = finding.LeadNoise, e.noise(k)
		c.since = min(c.since, p.at-noiseAge)
		c.evidence = e.sayNoise(k, p)
	case e.thermocouple(k, p):
		c.kind = finding.ThermalEMF
		c.evidence = e.sayVoltage(k, p)
	case swings && x > wild*p.level[k] && d-f*f > clockShare:
		c.kind = finding.LeadIntermittent
		c.evidence = e.sayShift(k, p)
	case moves && (math.Abs(f) > 0.4 || d > 0.25), moves && x > wild*p.level[k] && (math.Abs(f) > 0.2 || d > 0.1):
		c.kind = finding.LeadThermal
		c.evidence = e.sayThermal(k, p)
	case ch.Turns >= wetTurns:
		c.kind = finding.LeadMoisture
		c.evidence = e.sayTurns(k, p)
	case moves && x > wild*p.level[k] && ch.returns(x):
		c.kind = finding.LeadIntermittent
		c.evidence = e.sayReturns(k, p)
	case p.level[k] < 0 && p.quick[k] < 0: // it stands below its copper since it was told
		c.kind = finding.ThermalEMF
		c.evidence = e.sayBelow(k, p)
	case e.climbing(k, p):
		c.kind = finding.LeadDrift
		c.evidence = e.sayClimb(k, p)
	case ch.abrupt(p.raw[k]) && ch.abrupt(p.quick[k]), p.level[k] < p.limit[k] && ch.abrupt(p.quick[k]): // too new for a level of two days
		c.kind = finding.LeadStep
		c.since, _ = ch.stepped()
		c.evidence = e.sayStep(k, p)
	default:
		c.kind = finding.LeadDrift
		c.evidence = e.sayDrift(k, p)
	}
}
