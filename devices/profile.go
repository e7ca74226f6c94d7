package devices

import (
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/wiring"
)

// Profile is a register map: which register holds which quantity of one loop.
// Addresses are wire addresses (0-based) relative to the loop's base. Config
// reads profiles from YAML; the type is plain data.
type Profile struct {
	Name        string
	Description string
	Table       Table
	AddressBase int // 0 or 1: how the documents number registers; wire address = number − AddressBase
	Fields      []Field
	Blocks      []Block       // what may be read in one request, wire addresses relative to base; empty = from the lowest to the highest field
	MaxRead     int           // registers a request may ask for, 1..125; 0 = 125
	Renew       time.Duration // how often the device renews its values; 0 = not stated
	SensorIs    wiring.SensorIs
	Accuracy    diagnostics.Accuracy // data sheet limits; NaN = not stated
	Identity    bool                 // answers 43/14 read device identification
}

// Table is the Modbus table: it decides the function code.
type Table uint8

// The tables that are read: function 03 and function 04. There is no other.
const (
	Holding Table = 3
	Input   Table = 4
)

// Block is a run of registers that a device answers in one request.
type Block struct{ Addr, Count uint16 }

// Quantity is what a field means.
type Quantity uint8

// The quantities a profile can hold.
const (
	QuantityNone Quantity = iota
	LeadA1
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
	SensorOhm
	Sensor2Ohm
	ReadingDegC
	DeviceTempDegC
	EMFVolt
	CycleCount
	StatusWord
)

// Type is the encoding of a field.
type Type uint8

// The encodings.
const (
	Int16 Type = iota
	Uint16
	Int32
	Uint32
	Float32
	Float64
)

// Order is how the bytes of a field lie in its registers, named by the position
// of the most significant byte A (facts of the trade: ABCD is most common).
type Order uint8

// The orders. 16-bit types know ABCD and BADC only.
const (
	ABCD Order = iota // big-endian
	CDAB              // words swapped
	BADC              // bytes swapped in each word
	DCBA              // little-endian
)

// Field is one quantity in a profile: value = raw·Scale + Offset, in Unit.
type Field struct {
	Quantity   Quantity
	Addr       uint16 // wire address relative to the loop's base
	Type       Type
	Order      Order
	Scale      float64 // 1 when not given
	Offset     float64
	Unit       string   // Ohm, mOhm, degC, degF, V, uV, …; converted on decode
	Resolution float64  // in Unit; 0 = that of Scale, or unknown for floats
	Invalid    []uint64 // raw bit patterns that mean "no value"
	Status     []StatusBit
}

// StatusBit gives a meaning to bits of a StatusWord.
type StatusBit struct {
	Mask    uint64
	Equals  uint64 // the masked value that means this
	Quality uint8  // a measure.Quality that the sample then has
	Text    string
}
