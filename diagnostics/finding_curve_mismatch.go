package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

var curveMismatch = check{
	kind:   finding.CurveMismatch,
	advice: "compare the sensor's nameplate with the curve set in the transmitter and in the instrument index",
	shows:  showsCurveMismatch,
	find:   findCurveMismatch,
}

// readingSlack is what a reading may be away from its own resistance through
// rounding to one decimal, in °C.
const readingSlack quantity.DeltaC = 0.06

// mismatch holds the reading against the resistance through the configured curve,
// and where they disagree looks for a curve that joins them. A trimmed
// transmitter, or one value of another moment, fits none.
func (l *Loop) mismatch(s *measure.Sample) (other rtd.Sensor, shown quantity.DegC, slack quantity.DeltaC, ok bool) {
	if !quantity.Known(s.Reading) || !quantity.Known(s.Sensor) || l.spec.SensorIs == wiring.Raw {
		return other, shown, slack, false
	}
	shown = l.spec.Sensor.Inverse(s.Sensor, l.spec.Accuracy.SensorRes)
	slope := l.spec.Sensor.SlopeAt(shown)
	slack = readingSlack + quantity.DeltaC(orZero(l.spec.Accuracy.Instrument)) +
		slope.Error(quantity.Ohm(orZero(l.spec.Accuracy.Sensor)+orZero(l.spec.Accuracy.SensorRes)/2))
	if gap := quantity.DeltaC(s.Reading - shown); !(math.Abs(float64(gap)) > 3*float64(slack)) {
		return other, shown, slack, false
	}
	other, ok = curveThrough(l.spec.Sensor, s.Sensor, s.Reading, slack)
	return other, shown, slack, ok
}

func showsCurveMismatch(l *Loop, s *measure.Sample, _ *Assessment) bool {
	_, _, _, ok := l.mismatch(s)
	return ok
}

func findCurveMismatch(l *Loop, s *measure.Sample, a *Assessment) (finding.Finding, bool) {
	other, shown, slack, ok := l.mismatch(s)
	if !ok {
		return finding.Finding{}, false
	}
	f := l.raise(a, finding.OutOfSpec, 0.8, fmt.Sprintf(
		"%.3f Ω is %.2f °C by %s, the transmitter shows %.2f °C as %s would: its curve differs from the index",
		float64(s.Sensor), float64(shown), l.spec.Sensor.Name(), float64(s.Reading), other.Name()))
	f.Error = quantity.DeltaC(s.Reading - shown)
	f.U = slack
	return f, true
}

// curveThrough returns the curve that joins a resistance and a temperature.
func curveThrough(have rtd.Sensor, r quantity.Ohm, t quantity.DegC, slack quantity.DeltaC) (rtd.Sensor, bool) {
	for _, other := range have.Lookalikes() {
		if math.Abs(float64(other.Inverse(r, 0)-t)) <= float64(slack) {
			return other, true
		}
	}
	return rtd.Sensor{}, false
}
