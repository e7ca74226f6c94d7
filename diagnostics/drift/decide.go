package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

const (
	confirm  = 4  // blocks in a row that a level must stand beyond its threshold before anything is learnt of it
	believe  = 3  // blocks from which a rise is told: to tell costs less than to learn
	soundFor = 12 // blocks without a claim before a contact counts as sound again
	settle   = 10 // blocks that an abrupt rise is watched: what was just tightened or just moved settles
	// settleGrid is the rise, in steps of the resolution, below which rounding hides
	// whether it settles: it is watched twice as long.
	settleGrid = 2
	farReach   = 0.65 // share of the limit at which nobody waits any longer: what is sound stays below half of it
)

// decide states what the picture means for the contacts.
func (e *Engine) decide(p *picture, out []finding.Finding) []finding.Finding {
	if l := e.s.Found[aboutContact].Leads; l != 0 && l&^e.s.Found[aboutOpen].Leads == 0 {
		return out // nobody measures what the finding is about
	}
	e.still(p)
	c, ok := e.contacts(p)
	if !ok {
		c, ok = e.unseen(p)
	}
	if !ok {
		if e.s.Sound = min(e.s.Sound+1, 1000); e.s.Sound >= soundFor {
			out = e.clear(aboutContact, p.at, "contact parts are back near their baseline for three days", out)
		}
		return out
	}
	e.s.Sound = 0
	looks := c.kind
	if r := &e.s.Found[aboutContact]; r.Kind != 0 && r.kind() != c.kind {
		need := uint8(otherFor)
		switch stood := p.at - r.Raised; {
		case stood > otherLater:
			need *= 9
		case stood > otherLate:
			need *= 3
		}
		if e.s.Other = min(e.s.Other+1, atOnce); e.s.Other < need {
			c.evidence += "; it is called " + string(c.kind) + " when it has looked so for " + lookFor(need)
			c.kind = r.kind()
		}
	} else {
		e.s.Other = 0
	}
	e.rests(p, &c, looks)
	return e.raise(aboutContact, p.at, &c, out)
}

// otherFor is how long a finding must look like another kind to be called so, in
// blocks.
const (
	otherFor  = 4
	otherLate = 10 * dayS // after which three times as long is asked for
	// otherLater: what has stood for a month under several names is one contact
	// that has many faces; nine times as long.
	otherLater = 30 * dayS
	// atOnce is a count that has waited long enough, whatever is asked for.
	atOnce = 100
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
	if e.m.n == 2 {
		if c.kind == finding.ThermalEMF && !p.told(worst) {
			c.leads = 0
			if k, ok := e.puller(); ok {
				c.leads = e.m.ch[k].named
			}
		}
		c.evidence += e.sayWitness(worst, p)
	}
	return c, true
}

// weigh returns by how many thresholds a channel is bad, 0 where it is not.
func (e *Engine) weigh(k int, p *picture) float64 {
	ch := &e.s.Ch[k]
	w := 0.0
	if e.untold(k) || e.s.Low > 0 && p.level[k] < -lost(ch.Base) && ch.abrupt(p.raw[k]) {
		return 0 // no copper to hold it against, or a jumper: told as that
	}
	if p.told(k) && e.tightened(k, p) {
		return 0 // told as that, as soon as it is sure
	}
	_, _, even := e.balanced(p)
	if ch.Over >= believe && p.level[k] > 0 && e.settled(k, p) && !even {
		w = max(p.level[k], p.quick[k]/quickTimes) / p.limit[k]
	}
	if e.climbing(k, p) {
		w = max(w, p.quick[k]/p.limit[k])
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
	if e.doubtful(k, p) && !e.thermocouple(k, p) || e.evened(k, p) { // no work moves with the process
		return false
	}
	if e.wavers(k, p) {
		return true
	}
	if !ch.abrupt(p.raw[k]) {
		return p.quick[k] > 0.75*ch.Peak
	}
	if small := min(smallStep*p.reach[k], smallOhm); p.quick[k] < small && p.quick[k]-math.Abs(ch.Jump) < p.limit[k] {
		return false // stays and is harmless: somebody worked there
	}
	wait := int64(settle)
	if p.quick[k] < settleGrid*float64(e.s.Grid.Step) {
		wait *= 2
	}
	return p.at-ch.JumpAt >= wait*blockS && p.quick[k] > 0.85*ch.Peak && !ch.falling()
}

const (
	// waver is by how much of its level a contact must have fallen and risen
	// again to be one that moves by itself.
	waver = 0.25
	// waverClear is by how many standard deviations of what a sound lead moves.
	waverClear = 4
)

// stillest returns by how much the calmest of the other channels moves within
// days, Ω.
func (e *Engine) stillest(k int) float64 {
	x := math.Inf(1)
	for j := range e.m.n {
		if j != k {
			x = min(x, e.s.Ch[j].Swing.size())
		}
	}
	return x
}

// wavers tells whether a channel that stood above its threshold fell and rose
// again within the last three days: terminals that settle only fall, and what was
// worked on jumps once.
func (e *Engine) wavers(k int, p *picture) bool {
	x := max(p.limit[k], waver*p.level[k], waverClear*e.stillest(k))
	high, low, fell := 0.0, math.Inf(1), false
	for i := recent - int(e.s.Ch[k].UN); i < recent; i++ {
		var all [channels]float64
		for j := range e.m.n {
			all[j] = float64(e.s.Ch[j].U[i])
		}
		e.shift(&all, p)
		switch u := all[k]; {
		case high == 0 && !(u > p.limit[k]):
		case fell:
			if low = min(low, u); u > low+x {
				return true
			}
		case u < high-x:
			low, fell = u, true
		default:
			high = max(high, u)
		}
	}
	return false
}

// voltage tells whether a channel fell slowly below its copper for no reason that
// a lead has.
func (e *Engine) voltage(k int, p *picture) bool {
	return e.fell(k, p, e.fallLeast(k)) && !e.healed(k, p)
}

// fell tells whether a channel fell slowly below its copper by more than a sound
// lead has of contacts, least, Ω. Of three or four leads it must stand out alone: two that
// rose would leave the third low as well.
func (e *Engine) fell(k int, p *picture, least float64) bool {
	ch := &e.s.Ch[k]
	if e.m.n < 3 && !p.told(k) || p.blocks < settling || ch.Above < confirm || p.level[k] > -e.fallWorth(k, p, least) || ch.abrupt(p.raw[k]) && !e.pulled(k, p) {
		return false
	}
	for j := range e.m.n {
		if j != k && p.level[j] > max(p.limit[j], -0.3*p.level[k]) {
			return false
		}
	}
	return true
}

// pulled tells whether a lead that fell at once moves as a thermocouple does. A
// step that happens to come with a change of the process looks so by itself; a
// voltage goes on moving with its temperatures, what was retightened stays.
func (e *Engine) pulled(k int, p *picture) bool {
	return e.leansTo(k, p, coupleKept) && e.s.Ch[k].restless(pulledMoves*math.Abs(p.level[k]))
}

// pulledMoves is the least movement within days of a voltage that came at once, of
// its level. Its temperature difference moves by a tenth and more in a day where
// it moved by all of it in an hour; half a threshold of noise and rounding is less.
const pulledMoves = 0.25

// fallWorth is the slow fall below copper from which it is worth a word, Ω: least,
// or less where it goes with temperatures.
func (e *Engine) fallWorth(k int, p *picture, least float64) float64 {
	switch {
	case e.coupling(k).process != 0 && e.leansTo(k, p, 1):
		least = 0
	case e.leansTo(k, p, coupleKept):
		least /= 2
	}
	return max(least, 1.5*p.limit[k])
}

// fallOhm is more than terminals that settle after work lose slowly: five
// terminal points of a few mΩ. Half of it will do when the fall goes with the
// temperatures of head and box, and none is needed where the process moves and all
// is as with a thermocouple: what settles does not know the process.
const fallOhm = 0.02

// Where the cores of the cable cannot differ by so much, a lead that settled or
// healed is known by where it came to (healed), and less is asked for: fallLeast,
// two terminal points, or fallCores times what cores differ by. Nothing is learnt of
// it before fallOhm: half of what heals, learnt, would leave the rest for a voltage.
const fallLeast, fallCores = 0.01, 4

// fallLeast returns the slow fall from which a voltage is looked for, Ω.
func (e *Engine) fallLeast(k int) float64 {
	if e.s.Copper.Moved != 0 {
		return 0 // of two leads that parted one fell; a contact that is made good comes to the other
	}
	return min(fallOhm, max(fallLeast, fallCores*coreShare*e.s.Ch[k].Base))
}

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
	if e.m.n < 3 || e.s.Hiss.Seen < hissReady || e.s.Hiss.alone(k, e.m.n) < e.s.Hiss.louder() {
		return false
	}
	return e.noise(k) > e.noiseWorth(k, p)
}

// crackles tells whether what a lead has gained scatters by about as much as it is:
// a contact that opens and closes all the time has a mean as well, and is no drift.
func (e *Engine) crackles(k int, p *picture) bool {
	if e.m.n < 3 || e.s.Hiss.Seen < hissReady || e.s.Hiss.alone(k, e.m.n) < e.s.Hiss.louder() {
		return false
	}
	return e.noise(k) > e.crackleWorth(k, p)
}

// crackleWorth is the scatter from which the level of a lead is one of noise, Ω.
func (e *Engine) crackleWorth(k int, p *picture) float64 {
	return max(crackleShare*p.level[k], crackleOhm)
}

// crackleShare and crackleOhm: a random resistance from nothing upwards scatters by
// three quarters of its mean (half-normal) to all of it (exponential), what grows by
// some per cent. The noise of a lead is smoothed over four days, in which it may grow
// to twice as much. A sound input scatters by 1 to 3 mΩ.
const (
	crackleShare = 0.35
	crackleOhm   = 0.002
)

// noiseWorth is the scatter that a lead adds from which it is called noisy, Ω.
func (e *Engine) noiseWorth(k int, p *picture) float64 {
	g := float64(e.s.Grid.Step) / 2
	if !e.dithered() {
		g *= 1.5 // what the edge of a step makes of a lead that stood still
	}
	return max(noiseOhm, 0.05*min(p.reach[k], 0.2), g)
}

// noiseOhm is the scatter from which it matters, Ω: a sound input has 1 to 3 mΩ.
const noiseOhm = 0.006

// noiseMore is the ratio of noise from which one lead is called noisy, on a baseline that
// is learnt; the smoothed ratio of a sound pair stays within 3 %, that of one beside a hot
// line goes with how often that is hot.
const noiseMore = 1.5

// louder is the logarithm of the ratio of noise from which one lead is called noisy.
func (h *hissState) louder() float64 { return h.young() * math.Log(noiseMore) }

// noise returns the scatter that a lead adds to its differences, Ω.
func (e *Engine) noise(k int) float64 {
	h := &e.s.Hiss
	x := math.Inf(1)
	i := 0
	for a := range e.m.n {
		for b := range a {
			if a == k || b == k {
				x = min(x, float64(h.Sigma[i]*h.Sigma[i]-h.Quiet[i]*h.Quiet[i])/2)
			}
			i++
		}
	}
	return math.Sqrt(max(x, 0))
}

// swingFor is how long a channel must swing, in blocks: three days and nights.
const swingFor = 12

// explained tells whether the movement goes with a temperature.
func (e *Engine) explained(k int) bool {
	s := &e.s.Ch[k].Swing
	return math.Abs(s.byCopper()) > 0.4 || s.byDay() > 0.25 || math.Abs(e.coupling(k).process) > 0.5
}

// swinging tells whether a channel moves within days far more than in its
// baseline, and more than the others do.
func (e *Engine) swinging(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	x := ch.Swing.size()
	if e.m.n < 2 || p.blocks < 28 || x < 2*float64(ch.Calm) || x < 0.7*p.limit[k] {
		ch.Swings = 0
		return false
	}
	ch.Swings = min(ch.Swings+1, 200)
	if ch.Swings < swingFor || ch.falling() || ch.JumpAt > p.at-5*dayS && ch.abrupt(p.raw[k]) || e.doubtful(k, p) || p.mean[k] < 0.2*p.limit[k] || p.quick[k] < 0.5*ch.Peak || !e.explained(k) {
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

// spikeShare is the share of the limit from which excursions matter.
const spikeShare = 0.04

// spikeWorth is the mean size from which excursions matter, Ω.
func (e *Engine) spikeWorth(k int) float64 {
	if r := e.reach(k, float64(e.s.Copper.Temp[recent-1])); !math.IsInf(r, 1) {
		return spikeShare * r
	}
	return 0.01
}

// spiking tells whether excursions of a channel are more than bad values.
func (e *Engine) spiking(k int) bool {
	s := &e.s.Ch[k].Spike
	if float64(s.Size) < e.spikeWorth(k) {
		return false
	}
	if g := &e.s.Grid; g.Same > 0 && s.Size < 1.5*g.Next { // a coarser resolution may be coming: its steps are no excursions
		return false
	}
	sure, all := e.spikeNeed(k)
	return s.confirmed(sure) || s.frequent(all) || (e.oddsFor(k) >= oddsCall || e.openedOnce(k)) && s.Sure+s.Maybe > 2*s.Down
}

// confirmed tells whether the sensor value shows so many excursions, and few falls.
func (p *spikeState) confirmed(sure float32) bool { return p.Sure >= sure && p.Sure > 2*p.Down }

// frequent tells whether there are so many excursions, over more than a shift.
func (p *spikeState) frequent(all float32) bool { return p.Sure+p.Maybe >= all && p.lasted() > shiftS }

// shiftS is how long excursions that only a count speaks for must go on, s: whoever
// works on the terminals makes several and goes home after a shift.
const shiftS = 8 * hourS

// lasted returns how long ago the first excursion was when the newest was seen, s.
func (p *spikeState) lasted() int64 { return int64(p.Spell)*slotS - p.First }

// spikeNeed returns how many excursions are more than bad values: of those that
// the sensor value confirms, and of all.
func (e *Engine) spikeNeed(k int) (sure, all float32) {
	s := &e.s.Ch[k].Spike
	bad := e.s.Sensor.Bad + s.Down
	sure, all = spikeSure+2*s.Usual, spikeMaybe
	switch e.m.n { // fewer values in which bad telegrams would show
	case 1:
		all += 7
	case 2:
		all += 2
	}
	return sure, all + 2*bad + 2*s.Usual
}
