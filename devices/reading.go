package devices

import (
	"time"

	"ohmdrift/diagnostics/measure"
)

// Reading is what one poll of one loop brought: the sample, and how it came.
type Reading struct {
	measure.Sample
	Took    time.Duration // from request to the last byte
	Problem string        // what is wrong and what to do, empty when good: tag, gateway, unit, register

	// DeviceChanged is set on the first reading at which the device behind the
	// address looks like another one: what changed, in one sentence.
	DeviceChanged string
}
