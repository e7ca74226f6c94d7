package config

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// LengthBudget is how long the cable of a loop may be before its leads alone,
// with sound contacts, spend a quarter of what they may at 0 °C.
type LengthBudget struct {
	Longest quantity.Metre // NaN = no such length; Why says why
	Why     string         // what the length rests on, or why there is none
}

// budgetShare is the share of the tolerance that leads may spend: with a spread
// of 5 % it gives the 15 ft of 22 AWG of common practice (15.74 ft for grade A).
const budgetShare = 0.25

// LengthBudget works out the longest cable of a loop from its conductor, its
// spread and its class, or its error limit where no class is stated:
// L = share · tolerance · S / (spread · R'), two leads in full for two-wire.
func (l *Loop) LengthBudget() LengthBudget {
	none := LengthBudget{Longest: quantity.Metre(math.NaN())}
	per := float64(l.Conductor.PerMetre())
	part, how := l.leadPart()
	tol, of := l.mayErr()
	switch {
	case part == 0:
		none.Why = how
	case per == 0:
		none.Why = "conductor not stated"
	case math.IsNaN(tol):
		none.Why = "neither class nor error limit stated"
	case !l.Sensor.Valid():
		none.Why = "sensor not known"
	default:
		slope := float64(l.Sensor.SlopeAt(0))
		return LengthBudget{
			Longest: quantity.Metre(budgetShare * tol * slope / (part * per)),
			Why:     fmt.Sprintf("a quarter of ±%.3g °C (%s, 0 °C), %s", tol, of, how),
		}
	}
	return none
}

// leadPart returns the share of one lead's resistance that the method leaves in
// the reading when all contacts are sound.
func (l *Loop) leadPart() (part float64, how string) {
	switch l.Method {
	case wiring.TwoWire:
		return 2, "both leads in full"
	case wiring.TwoWireFixed:
		return 0, "the fixed compensation is set to the cable"
	case wiring.FourWire, wiring.DeviceCorrected:
		return 0, "the method leaves no lead in the reading"
	}
	spread := l.Spread
	if !(spread > 0) {
		spread = diagnostics.DefaultSpread
	}
	return spread, fmt.Sprintf("spread %.3g %%", spread*100)
}

func (l *Loop) mayErr() (tol float64, of string) {
	if t, _, ok := l.Class.Tolerance(0, l.Construction); ok {
		return float64(t), l.Class.String()
	}
	return math.Min(float64(l.LimitHigh), -float64(l.LimitLow)), "error limit"
}
