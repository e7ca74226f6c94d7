package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// SpreadOf is what a spread is a share of. The definitions in use differ by a
// factor of about two.
type SpreadOf uint8

// The definitions, for leads Rmax and Rmin.
const (
	OfNominal SpreadOf = iota // (Rmax − Rmin)/nominal lead
	OfMin                     // (Rmax − Rmin)/Rmin, structured cabling
	OfSum                     // (Rmax − Rmin)/(Rmax + Rmin), IEEE 802.3 and IEC 61156-1
)

var spreadOfNames = [...]string{"nominal", "min", "sum"}

// String returns nominal, min or sum.
func (s SpreadOf) String() string { return spreadOfNames[min(int(s), len(spreadOfNames)-1)] }

// Formula returns the definition as it is printed beside a result.
func (s SpreadOf) Formula() string {
	return [...]string{"(Rmax − Rmin)/nominal", "(Rmax − Rmin)/Rmin", "(Rmax − Rmin)/(Rmax + Rmin)"}[min(int(s), 2)]
}

// ParseSpreadOf reads nominal, min or sum.
func ParseSpreadOf(s string) (SpreadOf, error) {
	for i, n := range spreadOfNames {
		if n == s {
			return SpreadOf(i), nil
		}
	}
	return 0, fmt.Errorf("spread of %q: want one of %v", s, spreadOfNames)
}

// OfLead converts a spread p to the difference between the largest and the
// smallest lead as a share of the nominal lead, which is taken as the mean of
// the two: p, p/(1 + p/2) or 2p.
func (s SpreadOf) OfLead(p float64) float64 {
	switch s {
	case OfMin:
		return p / (1 + p/2)
	case OfSum:
		return 2 * p
	}
	return p
}

// LengthBudget asks what an extension of a cable costs, and how long it may be.
type LengthBudget struct {
	Conductor    copper.Conductor
	Length       quantity.Metre
	LeadTemp     quantity.DegC // of the cable
	Method       wiring.Method
	Fixed        quantity.Ohm // of two-wire-fixed; NaN = the leads' own value at 20 °C
	Sensor       rtd.Sensor
	Class        rtd.Class
	Construction rtd.Construction
	Temp         quantity.DegC // of the sensor
	Spread       float64
	SpreadOf     SpreadOf
	Share        float64 // part of the tolerance that the leads may use
}

// LengthResult is the answer. Errors are by the slope alone, as is usual for
// budgets: δ/S.
type LengthResult struct {
	Lead      quantity.Ohm // one lead
	Imbalance quantity.Ohm // worst case for the spread; the whole lead error of two wires
	Error     quantity.DeltaC
	Tolerance quantity.DeltaC
	Class     rtd.Class      // that the tolerance comes from
	Used      float64        // |error| / tolerance
	Longest   quantity.Metre // +Inf where the method leaves nothing
}

// Compute answers the budget. It is an error when the sensor temperature is
// outside the curve or no class holds there.
func (b *LengthBudget) Compute() (LengthResult, error) {
	slope, err := b.Sensor.Slope(b.Temp)
	if err != nil {
		return LengthResult{}, err
	}
	tolerance, class, ok := b.Class.Tolerance(b.Temp, b.Construction)
	if !ok {
		return LengthResult{}, fmt.Errorf("%v does not hold at %g °C for %v elements", b.Class, float64(b.Temp), b.Construction)
	}
	r := LengthResult{Lead: b.Conductor.ResistanceAt(b.Length, b.LeadTemp), Tolerance: tolerance, Class: class}
	r.Imbalance = b.imbalanceAt(b.Length)
	r.Error = slope.Error(r.Imbalance)
	r.Used = math.Abs(float64(r.Error / tolerance))
	r.Longest = b.longest(quantity.Ohm(b.Share * float64(tolerance) * float64(slope)))
	return r, nil
}

// perMetre returns what one metre adds to the imbalance, in Ω/m.
func (b *LengthBudget) perMetre() float64 {
	lead := float64(b.Conductor.PerMetreAt(b.LeadTemp))
	spread := lead * b.SpreadOf.OfLead(b.Spread)
	switch b.Method {
	case wiring.TwoWire:
		return 2 * lead
	case wiring.TwoWireFixed:
		if quantity.Known(b.Fixed) {
			return 2 * lead
		}
		return 2 * (lead - float64(b.Conductor.PerMetre()))
	case wiring.ThreeWireLoop, wiring.ThreeWireDual, wiring.ThreeWireHalf:
		return spread
	case wiring.FourWireLoop: // both leads of the element at one end of the spread
		return 2 * spread
	}
	return 0
}

// offset is what the imbalance is without any length.
func (b *LengthBudget) offset() float64 {
	if b.Method == wiring.TwoWireFixed && quantity.Known(b.Fixed) {
		return -float64(b.Fixed)
	}
	return 0
}

func (b *LengthBudget) imbalanceAt(length quantity.Metre) quantity.Ohm {
	return quantity.Ohm(b.perMetre()*float64(length) + b.offset())
}

// longest returns the length at which the imbalance reaches allowed on the
// side to which a longer cable moves it.
func (b *LengthBudget) longest(allowed quantity.Ohm) quantity.Metre {
	switch per := b.perMetre(); {
	case per > 0:
		return quantity.Metre((float64(allowed) - b.offset()) / per)
	case per < 0:
		return quantity.Metre((float64(allowed) + b.offset()) / -per)
	}
	return quantity.Metre(math.Inf(1))
}
