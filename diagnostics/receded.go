package diagnostics

import (
	"math"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// Receded reports that a condition is gone for sure. For an imbalance that is an
// error below its limit by more than the uncertainty, so that a value on the
// limit does not come and go; every other kind is gone when its check is silent.
func (l *Loop) Receded(k finding.Kind, a *Assessment) bool {
	if k != finding.Imbalance {
		return true
	}
	err, u := l.Counts(a)
	if !quantity.Known(err) || !quantity.Known(u) {
		return false
	}
	limit := l.spec.LimitHigh
	if err < 0 {
		limit = -l.spec.LimitLow
	}
	return !positive(limit) || math.Abs(float64(err))+float64(u) < float64(limit)
}
