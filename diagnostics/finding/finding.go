// Package finding is one diagnosed condition of a loop: what it is, which
// leads, how large, how sure, since when, and when the loop will leave its
// limit. The JSON form is the replay contract; the same values reach records,
// notices and screens.
package finding

import (
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Kind names a condition.
type Kind string

// The kinds of findings.
const (
	LeadDrift        Kind = "lead-drift"        // contact resistance grows
	LeadIntermittent Kind = "lead-intermittent" // contact comes and goes
	LeadThermal      Kind = "lead-thermal"      // contact swings with temperature more than copper does
	LeadMoisture     Kind = "lead-moisture"     // contact follows wet and dry cycles
	LeadNoise        Kind = "lead-noise"        // variance of one lead has risen
	LeadStep         Kind = "lead-step"         // contact jumped and stayed
	LeadOpen         Kind = "lead-open"
	LeadShort        Kind = "lead-short"
	LeadRestored     Kind = "lead-restored" // a degraded contact is sound again
	LeadsSwapped     Kind = "leads-swapped"
	Imbalance        Kind = "imbalance"  // reading error over its limit
	LeadLimit        Kind = "lead-limit" // lead resistance over what the device works with
	NotFourWire      Kind = "not-four-wire"
	ThermalEMF       Kind = "thermal-emf"
	InsulationLeak   Kind = "insulation-leak"
	CurveMismatch    Kind = "curve-mismatch"
	SelfHeating      Kind = "self-heating"
	SensorDrift      Kind = "sensor-drift"
	CableChanged     Kind = "cable-changed"
	DeviceChanged    Kind = "device-changed"
	BoxCommonCause   Kind = "box-common-cause"
	UnbalancedCable  Kind = "unbalanced-cable"
	ValueFrozen      Kind = "value-frozen"
	Stale            Kind = "stale"
	DeviceFault      Kind = "device-fault"
	Implausible      Kind = "implausible"
)

// Kinds lists every kind in the order in which the manual explains them.
func Kinds() []Kind {
	return []Kind{
		LeadDrift, LeadIntermittent, LeadThermal, LeadMoisture, LeadNoise, LeadStep, LeadOpen, LeadShort,
		LeadRestored, LeadsSwapped, Imbalance, LeadLimit, NotFourWire, ThermalEMF, InsulationLeak,
		CurveMismatch, SelfHeating, SensorDrift, CableChanged, DeviceChanged, BoxCommonCause,
		UnbalancedCable, ValueFrozen, Stale, DeviceFault, Implausible,
	}
}

// Severity grades a finding; the loop's NE 107 category follows from the worst
// open one.
type Severity uint8

// The severities, mildest first.
const (
	Info        Severity = iota // good
	Maintenance                 // maintenance required
	OutOfSpec                   // out of specification
	Failure                     // failure
)

var severityNames = [...]string{"info", "maintenance", "out-of-spec", "failure"}

// String returns info, maintenance, out-of-spec or failure.
func (s Severity) String() string { return severityNames[min(int(s), len(severityNames)-1)] }

// State says what a line about a finding reports.
type State uint8

// The states of a finding.
const (
	Raised State = iota
	Updated
	Cleared
)

var stateNames = [...]string{"raised", "updated", "cleared"}

// String returns raised, updated or cleared.
func (s State) String() string { return stateNames[min(int(s), len(stateNames)-1)] }

// LeadSet is a set of leads as bits; the zero value is empty: none can be named.
type LeadSet uint8

// LeadsOf returns the set of the given leads.
func LeadsOf(ls ...measure.Lead) LeadSet {
	var s LeadSet
	for _, l := range ls {
		s |= 1 << l
	}
	return s
}

// Has reports whether l is in the set.
func (s LeadSet) Has(l measure.Lead) bool { return s&(1<<l) != 0 }

// Names returns the lead names in the order a1 a2 b1 b2, never nil.
func (s LeadSet) Names() []string {
	n := []string{}
	for l := measure.A1; l <= measure.B2; l++ {
		if s.Has(l) {
			n = append(n, l.String())
		}
	}
	return n
}

// Finding is one diagnosed condition at the moment Time.
type Finding struct {
	Time       time.Time
	Loop       string // tag
	Kind       Kind
	Leads      LeadSet
	State      State
	Severity   Severity
	Since      time.Time       // estimated onset
	Contact    quantity.Ohm    // contact resistance beyond copper of the worst lead, Ω; NaN = not known
	Error      quantity.DeltaC // reading error, indicated − true, °C; NaN = not known
	U          quantity.DeltaC // its expanded uncertainty (about 95 %), °C
	POverLimit float64         // probability that the error is over the loop's limit, 0..1; NaN = no limit
	Confidence float64         // certainty of the finding itself, 0..1
	Forecast   *Forecast       // nil = none applies
	Box        string          // enclosure of a common cause, empty = none
	Loops      []string        // members of a common cause
	Engine     string          // version of the engine that found it
	Evidence   string          // one sentence with numbers
}

// ForecastState says what kind of answer a forecast is.
type ForecastState string

// The forecast states.
const (
	Dated            ForecastState = "dated"
	NotWithinHorizon ForecastState = "not-within-horizon" // two years
	CannotTell       ForecastState = "cannot-tell"
	Past             ForecastState = "past"
)

// LimitQuantity names what a forecast's limit bounds.
type LimitQuantity string

// What a limit bounds.
const (
	ErrorLimit LimitQuantity = "error" // reading error, degC
	LeadsLimit LimitQuantity = "lead"  // lead resistance, ohm
)

// Forecast is when the loop leaves its limit. Zero times mean never (beyond the
// horizon).
type Forecast struct {
	State         ForecastState
	Quantity      LimitQuantity
	Value         float64 // the limit in Unit, signed by side
	Unit          string  // degC or ohm
	P10, P50, P90 time.Time
	Why           string // the reason, where no date can be given, and what a date rests on
}
