package drift

import "math"

// A single excursion is enough where everything speaks for it: the sensor value moved
// by the lead's coefficient times its size, out and back; no other lead moved within
// the hour, nor this one again; and it was far beyond noise. A hand on the terminals
// takes the lead off, which is an open circuit, or moves it or its neighbours more
// than once; and a clamp that holds does not open when a hand touches its wire
// (pull-out tests of IEC 60999-1, from memory). Where somebody works, a function check
// says so.
const (
	// plainOdds is the logarithm of the odds from which it is called. By the bound of
	// oddsCall that is 0.14 false ones a lead-year, which is much too high: bad values
	// hardly ever move the sensor value by the right amount (README).
	plainOdds = 6
	// plainGates is its least size, in gates: 26 standard deviations of single values.
	plainGates = 4
	// plainLeft is what is left of the count of one poll after ten days: so long it is
	// told.
	plainLeft = 1 / math.E
	// plainSure is the certainty of such a finding: who works there without a word
	// does as much as contacts do, we assume.
	plainSure = 0.6
)

// plain tells whether an excursion of channel k speaks for itself: its logarithm of
// the odds is x, of which the sensor value says proof. Of two leads a bad telegram
// shows in too few values.
func (e *Engine) plain(k int, x, proof, gate float64) bool {
	return e.m.n > 2 && x >= plainOdds && proof >= spikeProof && float64(e.s.Ch[k].Spike.Peak) >= plainGates*gate && !e.stormy(k)
}

// disturb takes from the excursions of the hour that they were alone: a channel leaves
// its calm value now.
func (e *Engine) disturb() {
	slot := int32(e.s.Last / slotS)
	for j := range e.m.n {
		if p := &e.s.Ch[j].Spike; slot-p.Spell <= hourS/slotS {
			p.Plain = false
		}
	}
}

// openedOnce tells whether channel k opened once, plainly and by itself, and an hour
// went by since.
func (e *Engine) openedOnce(k int) bool {
	p := &e.s.Ch[k].Spike
	return p.Plain && p.Sure > plainLeft && e.s.Last-int64(p.Spell)*slotS >= hourS
}

// onceOnly tells whether that is all that speaks for channel k.
func (e *Engine) onceOnly(k int) bool {
	sure, all := e.spikeNeed(k)
	p := &e.s.Ch[k].Spike
	return e.openedOnce(k) && !p.confirmed(sure) && !p.frequent(all) && e.oddsFor(k) < oddsCall
}
