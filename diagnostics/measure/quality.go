package measure

import "fmt"

// Quality says how far a value may be trusted. The numbers are fixed: they
// stand in databases, registers and metrics.
type Quality uint8

// The qualities, best first in meaning, not in a strict order of badness.
const (
	Good          Quality = 0 // fresh, inside its range, device content
	Late          Quality = 1 // arrived after its slot
	Stale         Quality = 2 // older than 3 intervals and 30 s
	Comms         Quality = 3 // no answer, wrong answer, gateway path
	Device        Quality = 4 // the device itself says that it is not well
	Configuration Quality = 5 // register map or plant description is wrong
	Invalid       Quality = 6 // one of the profile's invalid values, NaN
	OutOfRange    Quality = 7 // outside the sensor curve or what a lead can be
	Frozen        Quality = 8 // repeats bit for bit beyond its renewal time
	Skewed        Quality = 9 // values of different moments
)

var qualityNames = [...]string{"good", "late", "stale", "comms", "device", "configuration", "invalid value", "out of range", "frozen", "skewed"}

// String returns the word shown to people.
func (q Quality) String() string {
	if int(q) < len(qualityNames) {
		return qualityNames[q]
	}
	return fmt.Sprintf("quality(%d)", uint8(q))
}

// Usable reports whether diagnostics may compute with values of this quality:
// good and late ones.
func (q Quality) Usable() bool { return q <= Late }
