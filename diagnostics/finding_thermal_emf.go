package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
	"ohmdrift/diagnostics/wiring"
)

var thermalEMF = check{
	kind:   finding.ThermalEMF,
	advice: "look for unlike metals at unlike temperatures: brass or nickel terminals, a warm cabinet wall, a tinned splice",
	shows:  showsThermalEMF,
	find:   findThermalEMF,
}

func showsThermalEMF(l *Loop, s *measure.Sample, a *Assessment) bool {
	if !quantity.Known(a.EMF) {
		return false
	}
	_, ok := findThermalEMF(l, s, a)
	return ok
}

// maxEMF is what a sensor may make by IEC 60751 (from memory of its clause
// 6.5.4); more comes from the wiring.
const maxEMF quantity.Volt = 20e-6

// findThermalEMF reports an EMF above what a sensor may make, or one that costs
// half of what the process allows. A transmitter that measures it usually takes
// it out of its reading as well, so the error is what it would be.
func findThermalEMF(l *Loop, _ *measure.Sample, a *Assessment) (finding.Finding, bool) {
	current := l.spec.Accuracy.Current
	if !quantity.Known(a.EMF) || !positive(current) {
		return finding.Finding{}, false
	}
	ohm := wiring.EMFError(a.EMF, current)
	var b uncertainty.Budget
	b.Rect(orZero(l.spec.Accuracy.Sensor))
	err, u := l.inDegrees(a, ohm, &b)
	limit := l.smallestLimit(a)
	large := a.EMF > maxEMF || a.EMF < -maxEMF
	if !large && !(math.Abs(float64(err)) > float64(limit)/2) {
		return finding.Finding{}, false
	}
	sev := finding.Maintenance
	if math.Abs(float64(err)) > float64(limit) {
		sev = finding.OutOfSpec
	}
	f := l.raise(a, sev, 0.9, fmt.Sprintf("thermal EMF %+.1f µV at %.2g mA: %+.4f Ω, %+.3f °C where the device does not remove it",
		float64(a.EMF)*1e6, float64(current)*1e3, float64(ohm), float64(err)))
	f.Error, f.U = err, u
	f.POverLimit = l.pOver(err)
	return f, true
}
