package main

import (
	"fmt"
	"math"

	"ohmdrift/config"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// lengthShare is the part of the class tolerance that sound leads may use up: a
// quarter, with which 5 % spread gives the 15 ft of 22 AWG of common practice.
const lengthShare = 0.25

// cableLength is what check says of a loop's cable.
type cableLength struct {
	longest quantity.Metre // NaN where there is no such length
	why     string         // what it rests on, or why there is none
	over    bool           // the cable is longer
}

// lengthOf works out how long the cable of a loop may be.
func lengthOf(l *config.Loop) cableLength {
	none := cableLength{longest: quantity.Metre(math.NaN())}
	switch {
	case l.Conductor.PerMetre() == 0:
		none.why = "conductor not stated"
		return none
	case l.Class == rtd.ClassNone:
		none.why = "class not stated"
		return none
	}
	b := diagnostics.LengthBudget{
		Conductor: l.Conductor, LeadTemp: 20, Method: l.Method, Fixed: l.Fixed, Sensor: l.Sensor, Class: l.Class,
		Construction: l.Construction, Temp: 0, Spread: l.Spread, Share: lengthShare,
	}
	if quantity.Known(l.CableM) {
		b.Length = l.CableM
	}
	if !(b.Spread > 0) {
		b.Spread = diagnostics.DefaultSpread
	}
	r, err := b.Compute()
	switch {
	case err != nil:
		none.why = err.Error()
		return none
	case math.IsInf(float64(r.Longest), 0):
		none.why = "the method leaves no lead in the reading"
		return none
	}
	return cableLength{
		longest: r.Longest, over: l.CableM > r.Longest,
		why: fmt.Sprintf("a quarter of ±%.3g °C (%s at 0 °C), spread %.3g %%", float64(r.Tolerance), r.Class, 100*b.Spread),
	}
}
