package poll

import (
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/rtd"
)

// Plan is what to poll: links, and the loops behind them. The index of a loop
// is its index in the plant; a loop whose Link is −1 is not polled.
type Plan struct {
	Links []devices.LinkConfig
	Loops []Loop
}

// Loop is one measurement and where to read it.
type Loop struct {
	Tag      string
	Link     int // index into Plan.Links; −1 = not polled
	Unit     uint8
	Profile  *devices.Profile
	Base     uint16 // wire address of the loop's first register
	Interval time.Duration
	Sensor   rtd.Sensor // for the coherence of sensor and reading
}
