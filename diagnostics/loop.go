package diagnostics

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Loop assesses the samples of one temperature measurement. It holds what a
// Spec implies, worked out once, and the accepted baseline; it is not safe for
// concurrent use: the goroutine that owns the loop's link owns it.
type Loop struct {
	spec     Spec
	est      estimator
	baseline baseline
}

// Baseline is the accepted state of a loop's leads after work: what a loop
// calibrated with its leads in circuit had trimmed out. Absent values are NaN;
// a loop or pair of exactly 0 counts as not given, so that a literal may leave
// them out.
type Baseline struct {
	At    time.Time // when the leads were in this state
	Leads measure.Leads
	LoopA quantity.Ohm // a1 + a2, where only loops are reported
	LoopB quantity.Ohm // b1 + b2
	Pairs wiring.Pairs // where the device reports terminal pairs
}

// baseline is a Baseline as the estimator sees it.
type baseline struct {
	set      bool
	at       time.Time
	estimate estimate
}

// NoBaseline returns a baseline of a moment in which nothing is known; fill in
// what is.
func NoBaseline(at time.Time) Baseline {
	s := measure.Empty(at, measure.Good)
	return BaselineOf(&s)
}

// BaselineOf takes the leads of a sample as a baseline.
func BaselineOf(s *measure.Sample) Baseline {
	return Baseline{At: s.At, Leads: s.Leads, LoopA: s.LoopA, LoopB: s.LoopB, Pairs: s.Pairs}
}

// NewLoop checks that the spec does not contradict itself and returns its loop.
// The error names the tag, the fields and what to change.
func NewLoop(spec Spec) (*Loop, error) {
	if err := spec.validate(); err != nil {
		return nil, fmt.Errorf("%s: %w", spec.Tag, err)
	}
	return &Loop{spec: spec, est: newEstimator(&spec)}, nil
}

// Spec returns what the loop was built from. The caller must not change it.
func (l *Loop) Spec() *Spec { return &l.spec }

// SetBaseline makes b the state from which SinceCal counts. It is refused when
// b does not hold what the loop's method and report level need.
func (l *Loop) SetBaseline(b Baseline) error {
	s := measure.Empty(b.At, measure.Good)
	s.Leads, s.LoopA, s.LoopB = b.Leads, given(b.LoopA), given(b.LoopB)
	for i, p := range b.Pairs {
		s.Pairs[i] = given(p)
	}
	e, reason := l.est.estimate(&s)
	if reason != "" || !quantity.Known(e.value) {
		if reason == "" {
			reason = reasonNoImbalance
		}
		return fmt.Errorf("%s: baseline: %s", l.spec.Tag, reason)
	}
	l.baseline = baseline{set: true, at: b.At, estimate: e}
	return nil
}

// given returns o, absent where it was left out of a literal.
func given(o quantity.Ohm) quantity.Ohm {
	if o == 0 {
		return quantity.Ohm(math.NaN())
	}
	return o
}

// ClearBaseline forgets the baseline: SinceCal is not known any more.
func (l *Loop) ClearBaseline() { l.baseline = baseline{} }

// DoubtCable forgets what the cable should have: it was exchanged, and the index
// does not know by what. Leads of one cable are still taken for equal.
func (l *Loop) DoubtCable() { l.est.cable = 0 }

// FoundCable takes what half a sum of leads was when the loop was first followed.
// A cable of the index is a nominal figure, often a drawn length: leads that were
// larger than it says from the beginning are a longer cable or contacts, and no sum
// tells which. What has come since then is judged.
func (l *Loop) FoundCable(lead quantity.Ohm) {
	if l.est.cable > 0 && lead > l.est.cable {
		l.est.cable = lead
	}
}

// HasBaseline reports whether SinceCal has something to count from.
func (l *Loop) HasBaseline() bool { return l.baseline.set }

// validate finds what makes a spec impossible. Config reports the same with
// places; this is the last line of defence.
func (s *Spec) validate() error {
	low, high := s.Sensor.Range()
	switch {
	case !s.Sensor.Valid():
		return fmt.Errorf("no sensor; state one such as Pt100")
	case s.Wires != 2 && s.Wires != 3 && s.Wires != 4:
		return fmt.Errorf("wires %d: want 2, 3 or 4", s.Wires)
	case int(s.Method) >= len(wiring.Methods()):
		return fmt.Errorf("method %v: want one of %v", s.Method, wiring.Methods())
	case s.Method.Wires() != 0 && s.Method.Wires() != s.Wires && !(s.Wires == 4 && s.Method.Wires() == 3):
		return fmt.Errorf("method %v needs %d wires, the loop has %d", s.Method, s.Method.Wires(), s.Wires)
	case s.Method == wiring.TwoWireFixed && !quantity.Known(s.Fixed):
		return fmt.Errorf("method two-wire-fixed needs offset_ohm, the compensation that is subtracted")
	case s.Method == wiring.DeviceCorrected && s.Wires == 2:
		return fmt.Errorf("method device-corrected needs 3 or 4 wires: two leads cannot be told from the element")
	case s.Wires == 2 && s.Reports != wiring.ReadingOnly:
		return fmt.Errorf("reports %v: a two-wire loop can only report the reading", s.Reports)
	case s.Reports == wiring.PairsOnly && s.Wires != 3:
		return fmt.Errorf("reports pairs is for three wires, the loop has %d", s.Wires)
	case int(s.Reports) >= len(wiring.ReportLevels()):
		return fmt.Errorf("reports %v: want one of %v", s.Reports, wiring.ReportLevels())
	case positive(s.Spread) && s.Spread > 1:
		return fmt.Errorf("spread %g: want a share of a lead, 0 to 1", s.Spread)
	case quantity.Known(s.LimitHigh) && s.LimitHigh < 0 || quantity.Known(s.LimitLow) && s.LimitLow > 0:
		return fmt.Errorf("limits %g to %g °C: the low one is negative, the high one positive", float64(s.LimitLow), float64(s.LimitHigh))
	case positive(s.LimitHigh) && float64(s.LimitHigh) > float64(high-low):
		return fmt.Errorf("limit %g °C is wider than the sensor's range", float64(s.LimitHigh))
	}
	return nil
}

// positive reports whether an optional number was given: known and above 0.
func positive[T ~float64](x T) bool { return x > 0 && !math.IsInf(float64(x), 1) }

// orZero returns x where it was given and 0 where not.
func orZero[T ~float64](x T) float64 {
	if positive(x) {
		return float64(x)
	}
	return 0
}
