package history

import (
	"fmt"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Quantity names one stored number of a sample. The text form stands on disk.
type Quantity uint8

// The stored quantities. Quality is a measure.Quality as a number.
const (
	LeadA1 Quantity = iota
	LeadA2
	LeadB1
	LeadB2
	LoopA
	LoopB
	PairA1A2
	PairB1B2
	PairA1B1
	PairA1B2
	PairA2B1
	PairA2B2
	Sensor
	Sensor2
	Reading
	DeviceTemp
	EMF
	Cycle
	Quality
	quantities // how many there are
)

var quantityNames = [quantities]string{
	"a1", "a2", "b1", "b2", "loop_a", "loop_b",
	"a1_a2", "b1_b2", "a1_b1", "a1_b2", "a2_b1", "a2_b2",
	"sensor", "sensor2", "reading", "device_temp", "emf", "cycle", "quality",
}

// String returns the name on disk: a1, loop_a, sensor, quality, …
func (q Quantity) String() string {
	if q < quantities {
		return quantityNames[q]
	}
	return fmt.Sprintf("quantity(%d)", uint8(q))
}

// ParseQuantity reads the name of a stored quantity.
func ParseQuantity(s string) (Quantity, error) {
	for i, n := range quantityNames {
		if n == s {
			return Quantity(i), nil
		}
	}
	return 0, fmt.Errorf("quantity %q: want one of %q", s, quantityNames)
}

// unpack spreads a sample over its quantities; NaN = absent.
func unpack(s *measure.Sample, v *[quantities]float64) {
	for i, o := range s.Leads {
		v[int(LeadA1)+i] = float64(o)
	}
	v[LoopA], v[LoopB] = float64(s.LoopA), float64(s.LoopB)
	for i, o := range s.Pairs {
		v[int(PairA1A2)+i] = float64(o)
	}
	v[Sensor], v[Sensor2] = float64(s.Sensor), float64(s.Sensor2)
	v[Reading], v[DeviceTemp] = float64(s.Reading), float64(s.DeviceTemp)
	v[EMF], v[Cycle] = float64(s.EMF), s.Cycle
	v[Quality] = float64(s.Quality)
}

// pack sets one quantity of a sample.
func pack(s *measure.Sample, q Quantity, v float64) {
	switch {
	case q <= LeadB2:
		s.Leads[q-LeadA1] = quantity.Ohm(v)
	case q == LoopA:
		s.LoopA = quantity.Ohm(v)
	case q == LoopB:
		s.LoopB = quantity.Ohm(v)
	case q <= PairA2B2:
		s.Pairs[q-PairA1A2] = quantity.Ohm(v)
	case q == Sensor:
		s.Sensor = quantity.Ohm(v)
	case q == Sensor2:
		s.Sensor2 = quantity.Ohm(v)
	case q == Reading:
		s.Reading = quantity.DegC(v)
	case q == DeviceTemp:
		s.DeviceTemp = quantity.DegC(v)
	case q == EMF:
		s.EMF = quantity.Volt(v)
	case q == Cycle:
		s.Cycle = v
	case q == Quality:
		s.Quality = measure.Quality(v)
	}
}
