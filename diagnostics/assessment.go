package diagnostics

import (
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// Assessment is what one sample of a loop means. Numbers that cannot be known
// from what the transmitter reports are NaN, and Observability of the loop says
// why. It is a plain value; making one allocates nothing.
type Assessment struct {
	At      time.Time
	Quality measure.Quality // worst of the sample's own and of what the physics found
	Reason  Reason          // why the quality is not good
	Leads   measure.Leads   // Ω, measured or derived from pairs
	Sensor  quantity.Ohm    // element with the imbalance still in it, Ω (what the transmitter linearises)
	Reading quantity.DegC   // as indicated

	Imbalance quantity.Ohm // the lead difference left in the reading, signed
	Spread    float64      // largest minus smallest lead, share of the nominal lead (of the mean where none is known)

	Error      quantity.DeltaC // absolute reading error, indicated − true
	U          quantity.DeltaC // expanded uncertainty of Error, about 95 %
	SinceCal   quantity.DeltaC // error since calibration; NaN without a baseline
	USinceCal  quantity.DeltaC
	Corrected  quantity.DegC   // reading minus error
	UCorrected quantity.DeltaC // sensor class not included
	Tolerance  quantity.DeltaC // of the class at the present temperature; NaN out of its range
	Class      rtd.Class       // that Tolerance comes from: the next lower one outside the range of the sensor's own

	Basis     Knowledge       // how Error is known
	ErrorLow  quantity.DeltaC // Error cannot be below this whatever the hidden leads are; NaN = not bounded
	ErrorHigh quantity.DeltaC // nor above this

	ShareTolerance float64      // |error that counts| / tolerance
	ShareLimit     float64      // |error that counts| / limit on its side; 0 where that side has none
	POverLimit     float64      // probability that the error that counts is over the limit
	Over           bool         // by the loop's decision rule
	Clear          bool         // inside the limit by more than the uncertainty: an imbalance finding may clear
	Closure        quantity.Ohm // closure residual of pairs, NaN without
	EMF            quantity.Volt
}

// Condition is the loop's NE 107 category.
type Condition uint8

// The conditions, in order of their priority on display (the highest wins).
const (
	ConditionGood Condition = iota
	MaintenanceRequired
	OutOfSpecification
	FunctionCheck
	ConditionFailure
)

var conditionNames = [...]string{"good", "maintenance required", "out of specification", "function check", "failure"}

// String returns the words of NE 107.
func (c Condition) String() string { return conditionNames[min(int(c), len(conditionNames)-1)] }

// ConditionOf maps the worst severity to its category.
func ConditionOf(s finding.Severity) Condition {
	switch s {
	case finding.Maintenance:
		return MaintenanceRequired
	case finding.OutOfSpec:
		return OutOfSpecification
	case finding.Failure:
		return ConditionFailure
	}
	return ConditionGood
}

// Reason is why an assessment is not good; its text tells a person.
type Reason string
