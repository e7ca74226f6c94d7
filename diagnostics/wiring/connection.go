package wiring

import (
	"math"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Parallel returns the resistance of two paths side by side.
func Parallel(x, y quantity.Ohm) quantity.Ohm { return x * y / (x + y) }

// Connection is how a four-wire sensor really is connected when it is not four
// separate current and potential leads. The errors were checked against a
// circuit calculation.
type Connection uint8

// The connections.
const (
	// Separate is a true four-wire connection: no lead error.
	Separate Connection = iota
	// JumperA has a jumper from the current to the potential terminal of side A
	// at the transmitter, and a2 not landed.
	JumperA
	// JumperALanded is the same jumper with a2 landed as well, the usual field fault.
	JumperALanded
	// JumperB and JumperBLanded are the same on side B.
	JumperB
	JumperBLanded
	// JumperBoth has both sides jumpered, a2 and b2 not landed: a two-wire connection.
	JumperBoth
	// JumperBothLanded has both sides jumpered and all four leads landed.
	JumperBothLanded
)

var connectionNames = [...]string{
	"separate leads",
	"jumper on side A, a2 not landed", "jumper on side A, a1 and a2 joined",
	"jumper on side B, b2 not landed", "jumper on side B, b1 and b2 joined",
	"jumpers on both sides, a2 and b2 not landed", "jumpers on both sides, leads joined",
}

// String says in words how the leads lie.
func (c Connection) String() string {
	return connectionNames[min(int(c), len(connectionNames)-1)]
}

// Error returns what the connection adds to a four-wire measurement, in Ω.
func (c Connection) Error(l measure.Leads) quantity.Ohm {
	a1, a2, b1, b2 := l[measure.A1], l[measure.A2], l[measure.B1], l[measure.B2]
	switch c {
	case JumperA:
		return a1
	case JumperALanded:
		return Parallel(a1, a2)
	case JumperB:
		return b1
	case JumperBLanded:
		return Parallel(b1, b2)
	case JumperBoth:
		return a1 + b1
	case JumperBothLanded:
		return Parallel(a1, a2) + Parallel(b1, b2)
	}
	return 0
}

// A four-wire sensor on a three-wire input, a2 left open, is a three-wire
// sensor: Imbalance of the method applies as it stands.

// OneTerminal returns the error of a four-wire sensor on a three-wire input
// with a1 and a2 under one terminal: side A is then a1 and a2 in parallel,
// −r/2 with equal leads r.
func OneTerminal(m Method, l measure.Leads) quantity.Ohm {
	l[measure.A1] = Parallel(l[measure.A1], l[measure.A2])
	return Imbalance(m, l, 0)
}

// HeadJumpers returns the error of a two-wire element whose four leads start at
// jumpers in the sensor head: only the wires between jumper and element.
func HeadJumpers(wireA, wireB quantity.Ohm) quantity.Ohm { return wireA + wireB }

// DualUnequal returns the imbalance of three-wire-dual when the second source
// is I·(1 − mismatch): a1 − b1 + mismatch·b1.
func DualUnequal(l measure.Leads, mismatch float64) quantity.Ohm {
	return l[measure.A1] - l[measure.B1] + quantity.Ohm(mismatch)*l[measure.B1]
}

// InputLoading returns the error of a four-wire measurement by a finite input
// impedance zin: −Rs(Rs + a2 + b2)/(Rs + a2 + b2 + zin), which for a large zin
// is −Rs(Rs + a2 + b2)/zin.
func InputLoading(element quantity.Ohm, l measure.Leads, zin quantity.Ohm) quantity.Ohm {
	loop := element + l[measure.A2] + l[measure.B2]
	return -element * loop / (loop + zin)
}

// LoopOpenError returns the error of three-wire-loop when b2 is open and the
// device takes the loop as 0, so that nothing is subtracted: a1 + b1.
func LoopOpenError(l measure.Leads) quantity.Ohm { return l[measure.A1] + l[measure.B1] }

// LoopShortError returns the error of three-wire-loop when b1 and b2 touch at
// the transmitter: a1 + b1∥b2, for equal leads 1.5 r.
func LoopShortError(l measure.Leads) quantity.Ohm {
	return l[measure.A1] + Parallel(l[measure.B1], l[measure.B2])
}

// Shunt returns the error of a leak of resistance leak across the element,
// −Rs²/(Rs + leak): always low, and worse the hotter the sensor.
func Shunt(element, leak quantity.Ohm) quantity.Ohm {
	return -element * element / (element + leak)
}

// ShuntOf returns the leak that explains a negative error of the element, +Inf
// for none and NaN for a positive error, which no leak makes.
func ShuntOf(element, err quantity.Ohm) quantity.Ohm {
	if err > 0 || !quantity.Known(element) {
		return quantity.Ohm(math.NaN())
	}
	return -element*element/err - element
}
