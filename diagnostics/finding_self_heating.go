package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

var selfHeating = check{
	kind:   finding.SelfHeating,
	advice: "use a smaller measuring current, or improve the contact of the sensor with its medium",
	shows:  showsSelfHeating,
	find:   findSelfHeating,
}

func showsSelfHeating(l *Loop, s *measure.Sample, a *Assessment) bool {
	if !positive(l.spec.Accuracy.Current2) {
		return false
	}
	_, ok := findSelfHeating(l, s, a)
	return ok
}

// heatingShare is the part of the class tolerance that self-heating may have by
// IEC 60751 (from memory of its clause 6.5.7).
const heatingShare = 0.25

// SelfHeating returns how far the measuring current warms the element, from the
// sensor values at two currents: T(R1) − T(R at no current). NaN where the
// device reports one current only.
func (l *Loop) SelfHeating(s *measure.Sample) quantity.DeltaC {
	acc := &l.spec.Accuracy
	if !positive(acc.Current) || !positive(acc.Current2) || acc.Current == acc.Current2 {
		return quantity.DeltaC(math.NaN())
	}
	cold := rtd.ZeroCurrent(s.Sensor, acc.Current, s.Sensor2, acc.Current2)
	return quantity.DeltaC(l.spec.Sensor.Inverse(s.Sensor, acc.SensorRes) - l.spec.Sensor.Inverse(cold, acc.SensorRes))
}

func findSelfHeating(l *Loop, s *measure.Sample, a *Assessment) (finding.Finding, bool) {
	warm := l.SelfHeating(s)
	limit := heatingShare * float64(a.Tolerance)
	if math.IsNaN(limit) {
		limit = heatingShare * float64(l.smallestLimit(a))
	}
	if !(float64(warm) > limit) {
		return finding.Finding{}, false
	}
	f := l.raise(a, finding.Maintenance, 0.9, fmt.Sprintf(
		"%.4f Ω at %.2g mA and %.4f Ω at %.2g mA: self-heating %+.3f °C, more than a quarter of the tolerance",
		float64(s.Sensor), float64(l.spec.Accuracy.Current)*1e3, float64(s.Sensor2), float64(l.spec.Accuracy.Current2)*1e3, float64(warm)))
	f.Error = warm
	f.U = quantity.DeltaC(quantity.Absent)
	f.POverLimit = l.pOver(warm)
	return f, true
}
