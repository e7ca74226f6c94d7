package drift

import (
	"math"
	"math/bits"

	"ohmdrift/diagnostics/finding"
)

// A contact that rose once and has stood still for four weeks, with most of its
// limit left, asks nobody to come: it is a fact about the loop, to be looked at with
// the next planned work. A request that stands for months while nothing changes
// trains its readers to look past it (standing alarms, ISA-18.2). So its severity
// goes back to information until the contact moves again. Its error is in the loop's
// error all the while.
const (
	stillFor   = 28 * dayS // two spells of wet and two of dry weather, each about a week (common practice)
	stillShare = 0.15      // of its level: humidity moves a degraded contact by some 10 %
	stillLimit = 0.5       // of its threshold: the slow drift of sound leads moves what is small by as much
	// stillMost is the share of the contact that moves the reading by its limit, up
	// to which nobody need come, and stillHead that of the whole error: what takes off
	// from there is lifted by its first 15 %, with half of the limit left.
	stillMost, stillHead = 0.4, 0.6
	// stillBand is the deadband of both: the weather moves the error by some per cent.
	stillBand = 1.15
)

// stillState holds what a standing contact is compared with.
type stillState struct {
	From int64   // since when it has stood there, s; 0 = nothing stands
	At   float32 // Ω
}

// still follows the level of the standing contact.
func (e *Engine) still(p *picture) {
	s, r := &e.s.Still, &e.s.Found[aboutContact]
	k := e.highest(p, r.Channels)
	if r.Kind == 0 || k < 0 {
		*s = stillState{}
		return
	}
	x := p.level[k]
	if s.From == 0 || math.Abs(x-float64(s.At)) > max(stillShare*math.Abs(float64(s.At)), stillLimit*p.limit[k]) {
		s.From, s.At = p.at, float32(x)
	}
}

// highest returns the channel of the set whose level is largest against its
// threshold; −1 where none is known.
func (e *Engine) highest(p *picture, set uint8) int {
	at, most := -1, 0.0
	for k := range e.m.n {
		if x := math.Abs(p.level[k]) / p.limit[k]; set>>k&1 != 0 && x >= most {
			at, most = k, x
		}
	}
	return at
}

// rests lowers a claim about a contact that has stood still and looks like one that
// does: a step and a drift of weeks ago are the same then.
func (e *Engine) rests(p *picture, c *claim, looks finding.Kind) {
	s, r := &e.s.Still, &e.s.Found[aboutContact]
	k := bits.TrailingZeros8(c.channels)
	if s.From == 0 || p.at-s.From < stillFor || !steady(c.kind) || !steady(looks) {
		return // it moves, or begins to look like something else
	}
	if bits.OnesCount8(c.channels) != 1 || c.channels != r.Channels || e.spiking(k) {
		return
	}
	band := 1.0
	if r.Severity == finding.Info {
		band = stillBand
	}
	if !(math.Abs(p.level[k]) < band*stillMost*min(p.reach[k], openlyOhm)) || e.s.Beyond || e.shareNow() > band*stillHead {
		return
	}
	c.severity = finding.Info
	c.evidence += say("; since %s it has stood still within %s and most of the limit is left: look at it with the next planned work, it is told again when it moves",
		clock(s.From), ohms(max(stillShare*math.Abs(float64(s.At)), stillLimit*p.limit[k])))
}

// steady tells whether a kind is one of what may stand still. A voltage that did for four
// weeks has no process that moves it.
func steady(k finding.Kind) bool {
	return k == finding.LeadStep || k == finding.LeadDrift || k == finding.ThermalEMF
}
