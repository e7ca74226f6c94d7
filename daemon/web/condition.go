package web

import (
	"math"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// state is what the pages show as the condition of a loop: the NE 107 category,
// or that nobody can know it. A loop without a live value is not healthy just
// because nothing was found on it.
type state uint8

// The states, mildest first: the order of "worst first".
const (
	good state = iota
	maintenance
	outOfSpec
	functionCheck
	notKnown
	failure
)

var (
	stateKeys  = [...]string{"good", "maintenance", "out-of-spec", "function-check", "not-known", "failure"}
	stateWords = [...]string{"Good", "Maintenance required", "Out of specification", "Function check", "Not known", "Failure"}
)

// Key is the state in addresses, style classes and symbol names.
func (s state) Key() string { return stateKeys[s] }

// Word is the state for people, in the words of NE 107.
func (s state) Word() string { return stateWords[s] }

// states lists every state, worst first.
func states() []state { return []state{failure, notKnown, functionCheck, outOfSpec, maintenance, good} }

func stateOf(r *Row, now time.Time) state {
	switch r.Condition {
	case diagnostics.MaintenanceRequired:
		return maintenance
	case diagnostics.OutOfSpecification:
		return outOfSpec
	case diagnostics.FunctionCheck:
		return functionCheck
	case diagnostics.ConditionFailure:
		return failure
	}
	if !live(r, now) {
		return notKnown
	}
	return good
}

// staleAfter is the age from which a loop's value no longer counts as fresh:
// three intervals, and at least 30 s.
func staleAfter(r *Row) time.Duration { return max(3*r.Spec.Interval, 30*time.Second) }

// qualityOf is the quality of what the page shows: that of the last poll, or
// stale where the daemon itself has fallen silent.
func qualityOf(r *Row, now time.Time) measure.Quality {
	if r.Quality.Usable() && !r.Values.At.IsZero() && now.Sub(r.Values.At) > staleAfter(r) {
		return measure.Stale
	}
	return r.Quality
}

// live reports whether the values shown are those of now.
func live(r *Row, now time.Time) bool {
	return !r.Values.At.IsZero() && qualityOf(r, now).Usable()
}

// qualityWords says in words how good the value is.
func qualityWords(r *Row, now time.Time) string {
	switch {
	case r.Polled.IsZero() && r.Values.At.IsZero():
		return "never polled"
	case r.Values.At.IsZero() && r.Quality.Usable():
		return "no value yet"
	}
	switch q := qualityOf(r, now); q {
	case measure.Comms:
		return "no answer"
	case measure.Device:
		return "device fault"
	default:
		return q.String()
	}
}

// values returns what was measured last. Before the first value every number is
// absent: the zero of an empty assessment is no measurement.
func (r *Row) values() diagnostics.Assessment {
	n := math.NaN()
	if !r.Values.At.IsZero() {
		v := r.Values
		if blindSinceCal(r.Spec) {
			v.SinceCal, v.USinceCal = quantity.DeltaC(n), quantity.DeltaC(n)
			v.ShareLimit, v.ShareTolerance, v.POverLimit = n, n, n
		}
		return v
	}
	o, d, t := quantity.Ohm(n), quantity.DeltaC(n), quantity.DegC(n)
	return diagnostics.Assessment{
		Leads: measure.NoLeads(), Sensor: o, Reading: t, Imbalance: o, Spread: n, Error: d, U: d, SinceCal: d, USinceCal: d,
		Corrected: t, UCorrected: d, Tolerance: d, ShareTolerance: n, ShareLimit: n, POverLimit: n, Closure: o, EMF: quantity.Volt(n),
	}
}

// blindSinceCal reports whether the error since calibration is what counts and
// nothing that the transmitter reports would show it: a number would be made up.
func blindSinceCal(s *diagnostics.Spec) bool {
	return s.Calibrated == diagnostics.LeadsIn && s.Reports == wiring.ReadingOnly &&
		diagnostics.Observe(*s).SinceCal.Knowledge == diagnostics.Invisible
}

// counting returns the reading error that counts for limit and forecast, with
// its uncertainty and what it is counted from.
func counting(r *Row) (e, u quantity.DeltaC, from string) {
	v := r.values()
	if r.Spec.Calibrated == diagnostics.LeadsIn && (quantity.Known(v.SinceCal) || blindSinceCal(r.Spec)) {
		return v.SinceCal, v.USinceCal, "since calibration"
	}
	return v.Error, v.U, "absolute"
}
