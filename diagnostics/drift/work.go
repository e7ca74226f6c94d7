package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
)

// Work on a loop shows as a jump. A jump of the copper factor is a change of
// cable or of the device; leads that trade places are swapped; a lead that drops
// was retightened. All are reported as what they are and learnt.

const (
	// jumpFactor is a change of the copper factor from one slot to the next that
	// asks for a closer look: 9 K in ten minutes, as when a cable is exchanged
	// or a hot line beside it starts.
	jumpFactor = 0.035
	// newFactor is how far the factor must stay away afterwards to be a new
	// cable: 13 K in the mean of a day against the day before.
	newFactor = 0.05
	// jumpBlocks is how long to look before judging.
	jumpBlocks = 3
)

// gap notes when the leads come back after more than two polls and ten minutes
// without.
func (e *Engine) gap(l *look) {
	c := &e.s.Copper
	if l.valid < e.m.n {
		return
	}
	if d := e.s.Last - c.Full; c.Full > 0 && d > slotS && float64(d) > 2.5*float64(e.s.Step) {
		c.GapAt = e.s.Last
	}
	c.Full = e.s.Last
}

// jumped notes a jump of the copper factor between two slots.
func (e *Engine) jumped(f float64) {
	cu := &e.s.Copper
	if math.IsNaN(f) {
		return
	}
	if cu.Slot > 0 && cu.N >= 2 && cu.JumpAt == 0 && math.Abs(f/cu.Slot-1) > jumpFactor {
		cu.JumpAt, cu.JumpFrom, cu.JumpWait = e.s.Last, cu.Slot, 0
	}
	cu.Slot = f
}

// works judges a pending jump of the copper factor. It reports true when the
// block belongs to no baseline: nothing else is to be judged from it.
func (e *Engine) works(p *picture, out []finding.Finding) ([]finding.Finding, bool) {
	cu := &e.s.Copper
	if cu.JumpAt == 0 {
		return out, false
	}
	if p.at-blockS < cu.JumpAt {
		return out, true // half before, half after
	}
	now := p.f
	if e.m.n == 1 {
		now += (p.u[0] + e.s.Ch[0].usual(p.f)) / e.s.Ch[0].Base
	}
	if cu.JumpWait >= jumpBlocks && e.allBridged(p) {
		return e.tellBridged(p, out), true
	}
	away := now/cu.JumpFrom - 1
	if math.Abs(away) < newFactor || !e.newToday(away) || !e.allJumped(p, away) { // one lead is no cable
		cu.dismiss(p.at, now)
		return out, false
	}
	if cu.JumpWait = min(cu.JumpWait+1, 200); cu.JumpWait < jumpBlocks {
		return out, true
	}
	if e.allBridged(p) {
		return e.tellBridged(p, out), true
	}
	c := claim{
		kind: finding.CableChanged, severity: finding.Info, since: cu.JumpAt, contact: math.NaN(), sure: 0.9,
		evidence: say("all leads changed by %+.1f %% within one poll at %s and stayed (called from %.0f %%): another cable length or cross-section; learning anew", away*100, clock(cu.JumpAt), newFactor*100),
	}
	if e.halved(away) {
		c.severity, c.evidence = finding.Maintenance, e.sayHalved(away)
	}
	out = e.clear(aboutContact, p.at, "the cable was changed", out)
	out = e.clear(aboutWork, p.at, "a newer note takes its place", out)
	out = e.raise(aboutWork, p.at, &c, out)
	e.renew()
	return out, true
}

// dismiss ends the wait for a jump that did not stay: in a block that ended at a time
// the factor was now. A jump at its end, which the pending one hid, is waited for next.
func (c *copperState) dismiss(at int64, now float64) {
	c.JumpAt = 0
	if math.Abs(c.Slot/now-1) > jumpFactor {
		c.JumpAt, c.JumpFrom, c.JumpWait = at, now, 0
	}
}

// newToday tells whether the factor is away from that of the same hours of the
// day before, as it is from that before the jump: the sun of a desert moves it by
// as much within hours, and noise or rounding of a short lead adds the jump. A
// single sum must be away from its neighbours. In the first day of a baseline
// nothing is told: what is there is what is learnt.
func (e *Engine) newToday(away float64) bool {
	c, ch := &e.s.Copper, &e.s.Ch[0]
	if c.N <= aDay || ch.UN <= aDay {
		return false
	}
	d := float64(c.Ring[recent-1]/c.Ring[recent-1-aDay]) - 1
	if e.m.n == 1 {
		d = float64(ch.U[recent-1]-ch.U[recent-1-aDay]) / ch.Base
	}
	return d*away > 0 && math.Abs(d) >= newFactor/2+float64(e.s.Grid.Step)/(2*ch.Base) // two days differ by up to 6 K, and by what rounding hides
}

// allJumped tells whether every lead went away from the factor before as the
// common factor did.
func (e *Engine) allJumped(p *picture, away float64) bool {
	cu := &e.s.Copper
	for k := range e.m.n {
		c := &e.s.Ch[k]
		own := p.f + (p.u[k]-c.Track)/c.Base
		if d := own/cu.JumpFrom - 1; d*away < 0 || math.Abs(d) < 0.5*math.Abs(away) {
			return false
		}
	}
	return true
}

// renew forgets the baseline.
func (e *Engine) renew() {
	for k := range e.s.Ch { // those of a pair with their copper as well
		s := e.s.Ch[k].Spike
		e.s.Ch[k] = chState{Sigma: e.s.Ch[k].Sigma, Spike: s}
	}
	cu := &e.s.Copper
	*cu = copperState{Carried: cu.ref()*cu.JumpFrom - 1, Heard: cu.Heard, Device: cu.Device, Sends: cu.Sends}
	e.s.Hiss, e.s.Filter = hissState{}, filterState{}
	e.s.TwoRose = false
	e.s.Heat = heatState{}
	e.s.Season = seasonState{}
	e.s.Error.Home, e.s.Error.HomeN = 0, 0
	e.s.Error.Usual = [2]float32{}
}

// absorb takes the present level of a channel as its own from now on.
func (e *Engine) absorb(k int, level float64) {
	c := &e.s.Ch[k]
	c.Fit.lift(level)
	for i := range c.U {
		c.U[i] = 0
	}
	c.Couple.shift(level)
	if e.m.n == 2 {
		e.s.Ch[middleOf].agree()
	}
	c.Above, c.Over, c.Jump, c.Track, c.Flagged, c.Risen, c.Peak = 0, 0, 0, 0, false, false, 0
}

// learnt takes what was learnt of a channel out of the picture of the block: nothing else
// is to be said of it.
func (p *picture) learnt(k int) {
	p.raw[k], p.level[k], p.quick[k], p.newest[k], p.mean[k] = 0, 0, 0, 0, 0
}

// swapped looks for two leads that traded places at one moment: each stands now
// where the other stood. A rise and a fall of one size at one time is work, no
// contact; of two leads alone it could be one that rose against copper, so there
// each must stand where the other stood.
func (e *Engine) swapped(p *picture) (a, b int, ok bool) {
	for a := range e.m.n {
		for b := range a {
			x, y := &e.s.Ch[a], &e.s.Ch[b]
			l := &p.level
			if e.m.n == 2 {
				l = &p.raw
			}
			if !e.both(a, b, l) || l[a]*l[b] >= 0 || x.JumpAt-y.JumpAt > blockS || y.JumpAt-x.JumpAt > blockS {
				continue
			}
			if !x.abrupt(p.raw[a]) || !y.abrupt(p.raw[b]) || math.Abs(l[a]+l[b]) > 0.25*math.Max(math.Abs(l[a]), math.Abs(l[b]))+swapOhm {
				continue
			}
			d := (y.Base + y.usual(p.f)) - (x.Base + x.usual(p.f))
			if e.m.n > 2 || math.Abs(l[a]-d) < 0.35*math.Abs(d)+swapOhm {
				return b, a, true
			}
		}
	}
	return 0, 0, false
}

// both tells whether one of two channels stands above its threshold and the
// other stands out as well: small leads differ little, and inputs by some mΩ.
func (e *Engine) both(a, b int, l *[channels]float64) bool {
	x, y := &e.s.Ch[a], &e.s.Ch[b]
	if e.m.n == 2 {
		return x.Above >= confirm && y.Above >= confirm
	}
	return max(x.Above, y.Above) >= confirm && min(math.Abs(l[a]), math.Abs(l[b])) > max(0.25*max(math.Abs(l[a]), math.Abs(l[b])), 0.001)
}

// swapOhm is by how much two inputs of a device may differ, Ω.
const swapOhm = 0.003

// abrupt tells whether most of a level came with one jump.
func (c *chState) abrupt(level float64) bool {
	return c.Jump*level > 0 && math.Abs(c.Jump) > abruptShare*math.Abs(level)
}

// abruptShare of a level is most of it.
const abruptShare = 0.6

// swap learns what two leads became that traded places.
func (e *Engine) swap(a, b int, x, y float64, at int64, evidence string, p *picture, out []finding.Finding) []finding.Finding {
	e.absorb(a, x)
	e.absorb(b, y)
	return e.raise(aboutWork, p.at, &claim{
		kind: finding.LeadsSwapped, leads: e.m.ch[a].named | e.m.ch[b].named, severity: finding.Info, since: at, contact: math.NaN(), sure: 0.8, evidence: evidence,
	}, out)
}

// bridgedShare of a lead is more than any contact had in it: what lost that much
// was bridged, not made good.
const bridgedShare = 0.5

// changes finds what work did to single leads and learns it.
func (e *Engine) changes(p *picture, out []finding.Finding) []finding.Finding {
	if a, b, ok := e.swapped(p); ok {
		x, y := p.raw[a], p.raw[b]
		at, _ := e.s.Ch[a].stepped()
		return e.swap(a, b, x, y, at, say("%s changed by %+.1f mΩ and %s by %+.1f mΩ %s, each to where the other stood", e.m.name(a), x*1e3, e.m.name(b), y*1e3, e.s.Ch[a].when()), p, out)
	}
	if a, b, up, down, ok := e.traded(); ok {
		now, at := func(k int) float64 { return median32(e.s.Ch[k].U[recent-tradeAfter:]) }, p.at-tradeAfter*blockS
		return e.swap(a, b, now(a), now(b), at, say("%s changed by %+.1f mΩ and %s by %+.1f mΩ at about %s, the others by less than a quarter of it: as leads do that trade places", e.m.name(a), up*1e3, e.m.name(b), down*1e3, clock(at)), p, out)
	}
	if a, b, ok := e.exchanged(p); ok {
		up, down := p.level[a], p.level[b]
		return e.swap(a, b, p.raw[a], p.raw[b], p.at-balancedFor*blockS, say("%s has stood %.1f mΩ higher for three days and %s %.1f mΩ lower, each about where the other stood: as leads do that trade places", e.m.name(a), up*1e3, e.m.name(b), -down*1e3), p, out)
	}
	out = e.otherMadeGood(p, out)
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		if ch.Above < confirm+2 || !e.tightened(k, p) || -p.level[k] > bridgedShare*ch.Base || e.spiking(k) { // a good contact leaves the copper
			continue
		}
		since, _ := ch.stepped()
		c := claim{
			kind: finding.LeadRestored, leads: e.m.ch[k].named, severity: finding.Info, since: since, contact: p.level[k], sure: 0.8,
			evidence: fmt.Sprintf("%s fell by %s %s and stayed there: its contact was made good; learnt", e.m.name(k), ohms(-p.level[k]), ch.when()),
		}
		e.absorb(k, p.level[k])
		p.learnt(k)
		out = e.raise(aboutWork, p.at, &c, out)
	}
	return e.healing(p, out)
}

// tightened tells whether a channel fell at once and stays where it is: as what is
// retightened does, and no voltage.
func (e *Engine) tightened(k int, p *picture) bool {
	ch := &e.s.Ch[k]
	return p.level[k] < 0 && ch.abrupt(p.raw[k]) && !e.leansTo(k, p, coupleKept) && !e.isVoltage(k) && !ch.restless(0.5*math.Abs(p.level[k]))
}

// healed tells whether a lead that fell slowly was as much above the others
// before: then it lost a bad contact, which was there when the baseline was
// learnt. The cores of a cable are equal, so a voltage takes a lead below the
// others by what it fell.
func (e *Engine) healed(k int, p *picture) bool {
	if e.leansTo(k, p, coupleKept) {
		return false
	}
	own := func(j int) float64 { return e.s.Ch[j].Base*p.f + e.s.Ch[j].usual(p.f) + p.level[j] }
	others := 0.0
	for j := range e.m.n {
		if j != k {
			others += own(j) / float64(e.m.n-1)
		}
	}
	return own(k)-others > healedShare*p.level[k]-coreShare*e.s.Ch[k].Base
}

// healedShare is how far below the others a lead may come by healing, of its
// fall: half way between a contact (none of it) and a voltage (all of it).
const healedShare = 0.5

// coreShare is how much the cores of one cable differ in length and section, of
// their resistance; common practice for one drum.
const coreShare = 0.003

// evened tells whether of two leads one rose slowly to where the other is. The
// cores of a cable are equal, so a contact takes its lead away from the other; a
// lead that was far below it and comes nearer does so because the other lost a
// contact that was bad when the baseline was learnt.
func (e *Engine) evened(k int, p *picture) bool {
	if e.m.n != 2 || e.m.ch[k].sum || e.s.Ch[k].Over < believe || !(p.level[k] > 0) || p.level[k] > farReach*p.reach[k] {
		return false
	}
	if e.s.Ch[k].Jump-e.s.Ch[1-k].Jump > abruptShare*p.level[k] || e.leansTo(k, p, coupleKept) || e.leansTo(1-k, p, coupleKept) {
		return false // somebody worked there, and what settles comes back; or a voltage
	}
	if e.s.Ch[k].Swing.size() > wild*p.level[k] {
		return false // what heals does not move within days
	}
	own := func(j int) float64 { return e.s.Ch[j].Base*p.f + e.s.Ch[j].usual(p.f) + p.level[j] }
	above := own(k) - own(1-k)
	return above < floorPair && above < healedShare*p.level[k]-coreShare*e.s.Ch[k].Base // healing ends where the other is
}

// evenFor is how long two leads must have come nearer, s, and evenStill the change
// of the level in two days, as a share of it, from which it is learnt: what heals
// does so ever more slowly. Until then nothing is said of it.
const evenFor, evenStill = 10 * dayS, 0.08

// still tells whether a level has moved by less than a share of it in two days.
func (c *chState) still(share float64) bool {
	if c.UN < recent {
		return false
	}
	now, was := median32(c.U[recent-4:]), median32(c.U[:4])
	return math.Abs(now-was) < share*math.Abs(now)
}

// evenOut learns two leads that came nearer to each other.
func (e *Engine) evenOut(p *picture, out []finding.Finding) []finding.Finding {
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		if !e.evened(k, p) || e.s.Found[aboutContact].Channels>>k&1 != 0 || p.at-ch.Rise < evenFor || !ch.still(evenStill) {
			continue
		}
		c := claim{
			kind: finding.LeadRestored, leads: e.m.ch[1-k].named, severity: finding.Info, since: ch.Rise, contact: -p.level[k], sure: 0.6,
			evidence: fmt.Sprintf("%s was above %s by more than cores of a cable differ and is so by %s less since %s: a contact that was bad from the beginning becomes better; learnt", e.m.name(1-k), e.m.name(k), ohms(p.level[k]), day(ch.Rise)),
		}
		e.absorb(k, p.raw[k])
		e.absorb(1-k, p.raw[1-k])
		return e.raise(aboutWork, p.at, &c, out)
	}
	return out
}

// healing learns leads that fell slowly to where the others are.
func (e *Engine) healing(p *picture, out []finding.Finding) []finding.Finding {
	out = e.evenOut(p, out)
	for k := range e.m.n {
		if !e.fell(k, p, e.healedLeast(k, p)) || !e.healed(k, p) {
			continue
		}
		c := claim{
			kind: finding.LeadRestored, leads: e.m.ch[k].named, severity: finding.Info, since: e.s.Ch[k].Rise, contact: p.level[k], sure: 0.7,
			evidence: fmt.Sprintf("%s fell by %s since %s and is not below the others now: a contact that was bad from the beginning becomes better; learnt", e.m.name(k), ohms(-p.level[k]), day(e.s.Ch[k].Rise)),
		}
		e.absorb(k, p.level[k])
		p.learnt(k)
		out = e.raise(aboutWork, p.at, &c, out)
	}
	return out
}

// healedLeast is the slow fall from which a lead is learnt that heals, Ω. Of a lead that
// the neighbours of a pair say fell nothing else comes, once it stands still.
func (e *Engine) healedLeast(k int, p *picture) float64 {
	if ch := &e.s.Ch[k]; p.told(k) && p.at-ch.Rise >= evenFor && ch.still(evenStill) {
		return 0
	}
	return fallOhm
}

// workStands is how long a note about work stands, s: a week, then it is history.
const workStands = 7 * dayS

func (e *Engine) forgetWork(p *picture, out []finding.Finding) []finding.Finding {
	if r := &e.s.Found[aboutWork]; r.Kind != 0 && p.at-r.Raised > workStands {
		return e.clear(aboutWork, p.at, "learnt; a note on work stands for a week", out)
	}
	return out
}
