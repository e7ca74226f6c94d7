package poll

import (
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
)

// unit is one device behind a link.
type unit struct {
	id      uint8
	breaker breaker
	failed  time.Time // last failure
	slow    bool      // has answered after its time: it needs the whole timeout
	problem string    // why its last request failed
	quality measure.Quality

	identity   devices.Identity
	identifyAt time.Time // no request for the name plate before
	stats      unitStats
}

// why says why the unit has no value.
func (u *unit) why() string {
	if u.problem == "" {
		return "not polled yet"
	}
	return u.problem
}
