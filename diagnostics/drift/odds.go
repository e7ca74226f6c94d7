package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
)

// How few excursions are enough? A bad register looks like a contact that opened
// for one poll, and no single excursion tells which it was. Two things do:
//
//   - A real one moves the sensor value by the lead's coefficient times its size,
//     out and back again, whatever the process does slowly meanwhile.
//   - Bad values of a loop come at a rate that the loop itself shows: zeros,
//     negative and endless values, and what the sensor value contradicts. Those
//     that rise on one lead alone are the smaller part of them.
//
// The odds of a contact are the product over excursions of the ratio of the two
// rates and of what the sensor value says; they are a CUSUM of the logarithms
// (Page 1954; Moustakides 1986: the quickest at a given rate of false alarms).
const (
	// oddsCall is the logarithm of the odds from which a contact is called. A
	// chart whose steps are likelihood ratios raises at most contactRate·e^−oddsCall
	// false alarms a day (Lorden 1971): one in 400 lead-years.
	oddsCall = 10
	// oddsMost is where the odds are held, so that they fade within three weeks.
	oddsMost = oddsCall + 3
	// oddsOnce is what one occasion counts at most, however plain: somebody may
	// have touched the terminals. Two within three weeks make a contact.
	oddsOnce = 6.5
	// contactRate is the rate of excursions a day of the slightest contact that is
	// looked for: one in a week. With less nothing could be told within a month.
	contactRate = 0.15
	// contactTimes is by how much a contact must at least outnumber bad values.
	contactTimes = 5
	// proofMost is what the sensor value can say of one excursion at most. What
	// strikes the loop from outside (a phone beside the terminals, a welder)
	// reaches both values alike: one in 150, our assumption.
	proofMost = 5
	// spikeProof is the logarithm from which the sensor value is said to have
	// confirmed or contradicted an excursion: 7 to 1.
	spikeProof = 2
	// badFade is the time constant of the rate of bad values, s: two months.
	badFade = 60 * dayS
	// badFirst bad values in badPolls samples is what is assumed of a bus of
	// which nothing is known yet; common practice is one in 10⁴ and fewer.
	badFirst, badPolls = 0.5, 5000
	// badAlike is the share of bad values that rise on one lead and return.
	badAlike = 0.5
	// badSmall and contactSmall are the shares of bad values and of excursions of
	// contacts that are smaller than the lead itself. Of 16 random bits 1 % are
	// within twice the right value; a wrong scale or a value of the poll before
	// makes it more. Contacts of terminals bounce by mΩ to Ω (Holm).
	badSmall, contactSmall = 0.15, 0.6
	// proofGain is by how much what a contact did to the two values of one poll
	// may differ: it moves while they are measured.
	proofGain = 0.1
	// rampBend is by how much a process that moves meanwhile is off its straight course
	// in the middle, as a share of half its move and a standard deviation: a third where
	// it follows with a time constant of one or two polls. Where it jumps it is all of
	// it, for which the tails are there.
	rampBend = 0.3
	// closeGain is by how much they may differ where it kept still: the accuracy of
	// both values, and closeMost what that can say at most: one amount in fifty is
	// right to so much by chance.
	closeGain, closeMost = 0.01, 4
	// proofLeast is the least scatter of a sensor value, as a share of it: the
	// last digit of 16 bits and noise; common practice.
	proofLeast = 5e-5
)

// proof compares the excursion of channel k that has just returned with the
// sensor values out and back: a real one moves them by its coefficient times its
// size, and both ends of it belong to the process. The logarithm of the
// likelihood ratio of contact and bad value; 0 where the process moves more than
// that, or where the method takes the lead out. The tails are those of Student's
// t with three degrees of freedom: processes jump.
func (e *Engine) proof(k int, after float64) float64 {
	s, p := &e.s.Sensor, &e.s.Ch[k].Spike
	if p.Split {
		return -proofMost
	}
	n := float64(p.Run)
	want, out := float64(p.Want)/n, float64(p.Out)/n
	back := (after - s.Value) / 2
	if back != back {
		back = 0
	}
	out -= back
	if !s.Known || s.Sigma == 0 || math.IsNaN(out) || !(want != 0) {
		return 0
	}
	// Of steps σ: a walk leaves σ²/2 in it, noise 3σ²/4 of single values.
	sigma := max(s.Sigma, proofLeast*s.Value)
	v := 0.75 * sigma * sigma * max(1, float64(e.s.Last-p.Start)/float64(max(e.s.Step, 1))/n)
	v += rampBend * rampBend * back * back
	v = 3 * (v + proofGain*proofGain*want*want)
	d := (out - want) * (out - want)
	x := min(max(2*math.Log((v+out*out)/(v+d)), -proofMost), proofMost)
	if x > spikeProof {
		x += closeness(v, v-3*(proofGain*proofGain-closeGain*closeGain)*want*want, d)
	}
	return x
}

// closeness is what it adds to the proof that the sensor value moved by the right
// amount to the last digit: the logarithm of the likelihood ratio of a contact that
// kept still while both were measured, as every second does, and one that moved. It
// takes something away where the amount is right about only. Both are three times
// their variances, d is the squared difference.
func closeness(moved, kept, d float64) float64 {
	x := 1.5*math.Log(kept/moved) - 2*math.Log((kept+d)/(moved+d))
	return min(math.Log((1+math.Exp(x))/2), closeMost)
}

// bet moves the odds of channel k by an excursion that left its gate. One spell of
// excursions is one occasion: a hand on the terminals makes several.
func (e *Engine) bet(k int, proof, gate float64) {
	p := &e.s.Ch[k].Spike
	slot := int32(e.s.Last / slotS)
	if p.Spell != 0 && slot-p.Spell < hourS/slotS {
		p.Spell, p.Plain = slot, false
		return
	}
	p.Spell = slot
	bad := e.badRate(k)
	x := math.Log(contactOver(bad)/bad) + proof + e.sizeTells(k)
	p.Plain = p.Plain || e.plain(k, x, proof, gate)
	p.Odds = min(max(p.Odds+float32(min(x, oddsOnce)), 0), oddsMost)
}

// sizeTells is what the size of an excursion says: digits that are wrong have no
// reason to be nearly right, a contact most often adds less than its lead has.
func (e *Engine) sizeTells(k int) float64 {
	if float64(e.s.Ch[k].Spike.Peak) < e.s.Ch[k].Base {
		return math.Log(contactSmall / badSmall)
	}
	return math.Log((1 - contactSmall) / (1 - badSmall))
}

// contactOver is the rate of excursions a day that is held against a rate of bad
// values.
func contactOver(bad float64) float64 { return max(contactRate, contactTimes*bad) }

// badRate returns how many bad values a day would pass for an excursion of
// channel k: a share of what is obviously wrong or falls, and what was
// usual in the baseline.
func (e *Engine) badRate(k int) float64 {
	s, p := &e.s.Sensor, &e.s.Ch[k].Spike
	few := float64(e.m.n) // values in which a bad telegram would show
	if e.m.n < 3 {
		few = 1 / float64(4-e.m.n)
	}
	wrong := float64(s.Wrong+p.Maybe) + badFirst // those that nothing confirmed may be bad, too
	perPoll := badAlike * wrong / (float64(s.Polls) + badPolls) / few
	return perPoll*dayS/float64(max(e.s.Step, 1)) + float64(p.Usual)*dayS/spikeFade
}

// opened raises a contact with the excursion that makes it sure, hours before the
// block ends: it may be the last before the circuit opens. Where the sensor value shows
// none of them the block must end: a coarser resolution is known then, whose steps
// look so.
func (e *Engine) opened(out []finding.Finding) []finding.Finding {
	if e.s.Found[aboutContact].Kind != 0 || e.s.Copper.JumpAt != 0 {
		return out
	}
	for k := range e.m.n {
		s := &e.s.Ch[k].Spike
		newly := s.Spell == int32(e.s.Last/slotS) && s.Sure > plainLeft && e.oddsFor(k) >= oddsCall
		if !newly && !e.openedOnce(k) || !e.spiking(k) {
			continue
		}
		p := e.newest()
		c := claim{leads: e.m.ch[k].named, channels: 1 << k}
		e.name(k, &p, &c)
		e.s.Sound = 0
		return e.raise(aboutContact, e.s.Last, &c, out)
	}
	return out
}

// A contact that has begun to open has mostly risen as well, by little: a lead that
// came slowly to risenShare of its threshold speaks for it. On simulated plants sound
// leads are there for one block in 150 (190,000 blocks and leads of 180 days), and of
// contacts that open we assume that every third is: risenOdds is the logarithm of 50.
// So one occasion is enough, for a hand on the terminals does not raise the lead in
// the days before it.
const risenShare, risenOdds = 0.35, 3.9

// oddsFor returns the logarithm of the odds of a contact of channel k, its level
// included.
func (e *Engine) oddsFor(k int) float64 {
	c := &e.s.Ch[k]
	if c.Risen {
		return float64(c.Spike.Odds) + risenOdds
	}
	return float64(c.Spike.Odds)
}

// fadeOdds lets the odds age by one block without an excursion.
func (e *Engine) fadeOdds() {
	w := float32(math.Exp(-float64(blockS) / badFade))
	e.s.Sensor.Wrong, e.s.Sensor.Polls = e.s.Sensor.Wrong*w, e.s.Sensor.Polls*w
	for k := range e.m.n {
		bad := e.badRate(k)
		p := &e.s.Ch[k].Spike
		p.Odds = max(0, p.Odds-float32((contactOver(bad)-bad)*blockS/dayS))
	}
}

// odds writes the odds.
func (p *spikeState) odds() string {
	if p.Odds >= oddsMost {
		return fmt.Sprintf("over %.0f", math.Exp(oddsMost))
	}
	return fmt.Sprintf("%.0f", math.Exp(float64(p.Odds)))
}
