package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
)

const (
	confirm  = 4    // blocks in a row that a level must stand above its threshold
	soundFor = 12   // blocks without a claim before a contact counts as sound again
	settle   = 10   // blocks that an abrupt rise is watched: what was just tightened or just moved settles
	farReach = 0.65 // share of the limit at which nobody waits any longer: what is sound stays below half of it
)

// decide states what the picture means for the contacts.
func (e *Engine) decide(p *picture, out []finding.Finding) []finding.Finding {
	c, ok := e.contacts(p)
	if !ok {
		if e.s.Sound = min(e.s.Sound+1, 1000); e.s.Sound >= soundFor {
			out = e.clear(aboutContact, p.at, "contact parts are back near their baseline for three days", out)
		}
		return out
	}
	e.s.Sound = 0
	if r := &e.s.Found[aboutContact]; r.Kind != 0 && r.kind() != c.kind {
		need := uint8(otherFor)
		if p.at-r.Raised > otherLate {
			need *= 3
		}
		if e.s.Other = min(e.s.Other+1, 100); e.s.Other < need {
			c.kind = r.kind()
		}
	} else {
		e.s.Other = 0
	}
	return e.raise(aboutContact, p.at, &c, out)
}

// otherFor is how long a finding must look like another kind to be called so, in
// blocks.
const (
	otherFor  = 4
	otherLate = 10 * dayS // after which three times as long is asked for
)

// contacts gathers the channels whose contact part says something and names the
// kind after the worst.
func (e *Engine) contacts(p *picture) (claim, bool) {
	var c claim
	worst, top := -1, 0.0
	for k := range e.m.n {
		s := e.weigh(k, p)
		if s <= 0 {
			continue
		}
		c.leads |= e.m.ch[k].named
		c.channels |= 1 << k
		if s > top {
			worst, top = k, s
		}
	}
	if worst < 0 {
		return c, false
	}
	e.name(worst, p, &c)
	return c, true
}

// weigh returns by how many thresholds a channel is bad, 0 where it is not.
func (e *Engine) weigh(k int, p *picture) float64 {
	ch := &e.s.Ch[k]
	w := 0.0
	if e.m.n == 1 && e.s.Copper.Alone {
		return 0
	}
	if ch.Above >= confirm && e.settled(k, p) {
		w = p.level[k] / p.limit[k]
	}
	if e.far(k, p) {
		w = max(w, p.quick[k]/p.limit[k])
	}
	if e.swinging(k, p) {
		w = max(w, ch.Swing.size()/p.limit[k], 1)
	}
	if e.standing(k, p) {
		w = max(w, 0.5)
	}
	if e.voltage(k, p) {
		w = max(w, -p.level[k]/p.limit[k])
	}
	if e.noisy(k, p) {
		w = max(w, 1)
	}
	if e.spiking(k) {
		w = max(w, 1, float64(ch.Spike.Size)/p.limit[k]/4)
	}
	return w
}

// standing tells whether a channel that is named in the standing finding is
// still away from its baseline.
func (e *Engine) standing(k int, p *picture) bool {
	r := &e.s.Found[aboutContact]
	if r.Kind == 0 || r.Channels&(1<<k) == 0 {
		return false
	}
	x := math.Abs(p.mean[k])
	return math.Abs(p.level[k]) > 0.6*p.limit[k] || e.s.Ch[k].Swing.size() > 0.7*p.limit[k] && x > 0.3*p.limit[k]
}

// far tells whether a contact took up most of the limit at once: then half a day
// must do.
func (e *Engine) far(k int, p *picture) bool {
	return p.quick[k] > farReach*p.reach[k] && p.newest[k] > farReach*p.reach[k] && p.quick[k] > 2*p.limit[k]
}

// settled tells whether a level can be believed: a rise that came at once is
// watched until it is clear that it does not go away by itself.
func (e *Engine) settled(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	if p.level[k] > farReach*p.reach[k] {
		return true
	}
	if e.s.Found[aboutContact].Leads&e.m.ch[k].named != 0 {
		return true
	}
	if e.doubtful(k, p) {
		return false
	}
	if !ch.abrupt(p.raw[k]) {
		return p.quick[k] > 0.75*ch.Peak
	}
	if small := min(smallStep*p.reach[k], smallOhm); p.quick[k] < small && p.quick[k]-math.Abs(ch.Jump) < p.limit[k] {
		return false // stays and is harmless: somebody worked there
	}
	return p.at-ch.JumpAt >= settle*blockS && p.quick[k] > 0.85*ch.Peak && !ch.falling()
}

// voltage tells whether a channel fell slowly below its copper by more than a
// sound lead has of contacts. Of three or four leads it must stand out alone:
// two that rose would leave the third low as well.
func (e *Engine) voltage(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	least := fallOhm
	if math.Abs(ch.Swing.byProcess()) > 0.45 {
		least /= 2
	}
	if e.m.n < 3 || p.blocks < settling || ch.Above < confirm || p.level[k] > -max(least, 1.5*p.limit[k]) || ch.abrupt(p.raw[k]) {
		return false
	}
	for j := range e.m.n {
		if j != k && p.level[j] > max(p.limit[j], -0.3*p.level[k]) {
			return false
		}
	}
	return true
}

// fallOhm is more than terminals that settle after work lose slowly: five
// terminal points of a few mΩ. Half of it will do when the fall goes with the
// process temperature.
const fallOhm = 0.02

// A step below these is no finding until it grows.
const (
	smallStep = 0.2   // of the contact that moves the reading by its limit
	smallOhm  = 0.008 // where no reading is moved: more than a sound terminal has
)

// falling tells whether a level is lower today than yesterday.
func (c *chState) falling() bool {
	if c.UN < 8 {
		return true
	}
	return math.Abs(median32(c.U[recent-4:])) < 0.92*math.Abs(median32(c.U[recent-8:recent-4]))
}

// doubtful tells whether a level between two leads is owed to a jump that copper
// could have hidden: it can be the rise of one or the fall of the other, so only
// what came since then counts.
func (e *Engine) doubtful(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	if e.m.n != 2 || math.Abs(ch.Jump) < 0.3*math.Abs(p.raw[k]) || ch.Jump > 2*fellBy*ch.Base {
		return false
	}
	return p.quick[k]-2*math.Abs(ch.Jump) < p.limit[k]
}

// noisy tells whether the single values of one lead scatter more than in its
// baseline and those of the others do not, by enough to matter.
func (e *Engine) noisy(k int, p *picture) bool {
	if e.m.n < 3 || e.s.Hiss.Seen < hissLearn || e.s.Hiss.alone(k, e.m.n) < math.Log(noiseMore) {
		return false
	}
	return e.noise(k) > max(noiseOhm, 0.05*min(p.reach[k], 0.2), float64(e.s.Grid.Step)/2)
}

// noiseOhm is the scatter from which it matters, Ω: a sound input has 1 to 3 mΩ.
const noiseOhm = 0.006

// noiseMore is the ratio of noise from which one lead is called noisy; the
// smoothed ratio of a sound pair stays within 3 %.
const noiseMore = 1.5

// noise returns the scatter that a lead adds to its differences, Ω.
func (e *Engine) noise(k int) float64 {
	h := &e.s.Hiss
	x := math.Inf(1)
	i := 0
	for a := range e.m.n {
		for b := range a {
			if a == k || b == k {
				x = min(x, (h.Sigma[i]*h.Sigma[i]-h.Quiet[i]*h.Quiet[i])/2)
			}
			i++
		}
	}
	return math.Sqrt(max(x, 0))
}

// swingFor is how long a channel must swing, in blocks: three days and nights.
const swingFor = 12

// explained tells whether the movement goes with a temperature.
func (s *swing) explained() bool {
	return math.Abs(s.byCopper()) > 0.4 || math.Abs(s.byProcess()) > 0.5 || s.byDay() > 0.25
}

// swinging tells whether a channel moves within days far more than in its
// baseline, and more than the others do.
func (e *Engine) swinging(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	x := ch.Swing.size()
	if e.m.n < 2 || p.blocks < 28 || x < 2*ch.Calm || x < 0.7*p.limit[k] {
		ch.Swings = 0
		return false
	}
	ch.Swings = min(ch.Swings+1, 200)
	if ch.Swings < swingFor || ch.falling() || ch.JumpAt > p.at-5*dayS && ch.abrupt(p.raw[k]) || e.doubtful(k, p) || p.mean[k] < 0.2*p.limit[k] || p.quick[k] < 0.5*ch.Peak || !ch.Swing.explained() {
		return false
	}
	for j := range e.m.n {
		if j != k && (e.s.Ch[j].Swing.size() > 1.25*x || e.s.Ch[j].Swing.size() > 0.8*x && p.level[j] > p.level[k]) {
			return false
		}
	}
	return true
}

const (
	spikeSure  = 3 // excursions that the sensor value confirms
	spikeMaybe = 3 // excursions that nothing contradicts, beyond what bad values explain
)

// spikeWorth is the mean size from which excursions matter, Ω.
func (e *Engine) spikeWorth(k int) float64 {
	if r := e.reach(k, float64(e.s.Copper.Temp[recent-1])); !math.IsInf(r, 1) {
		return 0.04 * r
	}
	return 0.01
}

// spiking tells whether excursions of a channel are more than bad values.
func (e *Engine) spiking(k int) bool {
	s := &e.s.Ch[k].Spike
	bad := e.s.Sensor.Bad + s.Down
	if float64(s.Size) < e.spikeWorth(k) {
		return false
	}
	if s.Sure >= spikeSure+2*s.Usual && s.Sure > 2*s.Down {
		return true
	}
	need := float32(spikeMaybe)
	switch e.m.n { // fewer values in which bad telegrams would show
	case 1:
		need += 7
	case 2:
		need += 2
	}
	return s.Sure+s.Maybe >= need+2*bad+2*s.Usual
}

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
	if !(math.Abs(hot) > 12) || p.level[k] < 2*p.limit[k] || s.FF == 0 || math.Abs(s.byCopper()) < 0.35 {
		return false
	}
	r := (s.UF / s.FF) / (-p.level[k] / (hot * copper.Alpha20))
	return r > 0.35 && r < 2.8
}

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
	moves := e.m.n > 1 && x > 0.5*p.limit[k] && ch.restless(0.2*math.Abs(p.level[k])) && x > 0.15*math.Abs(p.level[k]) && x > 2*ch.Calm
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
	case moves && math.Abs(t) > 0.5 && math.Abs(t) > math.Abs(f)+0.1,
		e.junction(k, p):
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
