package measure

import (
	"math"
	"time"

	"ohmdrift/diagnostics/quantity"
)

// Pair names one resistance between two transmitter terminals.
type Pair uint8

// The six pairs of a four-wire connection; a three-wire one has PairA1B1,
// PairA1B2 and PairB1B2.
const (
	PairA1A2 Pair = iota
	PairB1B2
	PairA1B1
	PairA1B2
	PairA2B1
	PairA2B2
)

// PairCount is the number of terminal pairs of four terminals.
const PairCount = 6

// Sample is one poll of one loop. NaN = not reported.
type Sample struct {
	At         time.Time    // the poll slot, from the scheduled time
	Quality    Quality      // of the sample as a whole
	Leads      Leads        // Ω, each lead as the transmitter reports it
	LoopA      quantity.Ohm // a1 + a2, Ω
	LoopB      quantity.Ohm // b1 + b2, Ω
	Pairs      [PairCount]quantity.Ohm
	Sensor     quantity.Ohm  // Ω; what it means is the loop's SensorIs
	Sensor2    quantity.Ohm  // Ω at the second measuring current (self-heating) or reversed current
	Reading    quantity.DegC // what the transmitter indicates
	DeviceTemp quantity.DegC // temperature of the transmitter's terminals
	EMF        quantity.Volt // thermal EMF register, V
	Cycle      float64       // the device's own cycle counter
}

// Empty returns a sample of time at with every quantity absent.
func Empty(at time.Time, q Quality) Sample {
	n := math.NaN()
	o := quantity.Ohm(n)
	return Sample{
		At: at, Quality: q, Leads: NoLeads(), LoopA: o, LoopB: o,
		Pairs:  [PairCount]quantity.Ohm{o, o, o, o, o, o},
		Sensor: o, Sensor2: o, Reading: quantity.DegC(n), DeviceTemp: quantity.DegC(n),
		EMF: quantity.Volt(n), Cycle: n,
	}
}
