package devices

import (
	"encoding/binary"
	"fmt"
	"math"
)

// Registers returns how many 16-bit registers a value of this type takes.
func (t Type) Registers() uint16 {
	switch t {
	case Int16, Uint16:
		return 1
	case Float64:
		return 4
	}
	return 2
}

// Registers returns how many registers the field takes.
func (f *Field) Registers() uint16 { return f.Type.Registers() }

// Raw returns the field's bits from src, which starts at the field's first
// register in the byte order of the wire, with the field's order undone.
func (f *Field) Raw(src []byte) uint64 {
	n := int(f.Registers()) * 2
	var v uint64
	for i := range n {
		v = v<<8 | uint64(src[f.Order.index(i, n)])
	}
	return v
}

// PutRaw stores the field's bits into dst, which starts at the field's first
// register.
func (f *Field) PutRaw(dst []byte, v uint64) {
	n := int(f.Registers()) * 2
	for i := n - 1; i >= 0; i-- {
		dst[f.Order.index(i, n)] = byte(v)
		v >>= 8
	}
}

// index returns where the i-th most significant of n bytes lies.
func (o Order) index(i, n int) int {
	switch o {
	case CDAB: // words reversed, bytes within kept
		return n - 2 - i&^1 + i&1
	case BADC:
		return i ^ 1
	case DCBA:
		return n - 1 - i
	}
	return i
}

// number turns bits into the number they encode.
func (t Type) number(bits uint64) float64 {
	switch t {
	case Int16:
		return float64(int16(bits))
	case Int32:
		return float64(int32(bits))
	case Float32:
		return float64(math.Float32frombits(uint32(bits)))
	case Float64:
		return math.Float64frombits(bits)
	}
	return float64(bits)
}

// Get returns the field's value in the canonical unit of its quantity (Ω, °C,
// V, plain number) from src, which starts at the field's first register. ok is
// false, and the value NaN, for one of the field's invalid patterns, NaN or
// infinity, and for a unit that Validate would refuse.
func (f *Field) Get(src []byte) (value float64, ok bool) {
	l, err := f.linear()
	if err != nil {
		return math.NaN(), false
	}
	return f.get(src, l)
}

func (f *Field) get(src []byte, l linear) (float64, bool) {
	bits := f.Raw(src)
	for _, inv := range f.Invalid {
		if bits == inv {
			return math.NaN(), false
		}
	}
	v := l.value(f.Type.number(bits))
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return math.NaN(), false
	}
	return v, true
}

// Put encodes value, given in the canonical unit of the quantity, into dst. NaN
// becomes the field's first invalid pattern. A value that the type cannot hold
// is an error and leaves dst alone.
func (f *Field) Put(dst []byte, value float64) error {
	l, err := f.linear()
	if err != nil {
		return err
	}
	bits, err := f.encode(value, l)
	if err != nil {
		return err
	}
	f.PutRaw(dst, bits)
	return nil
}

func (f *Field) encode(value float64, l linear) (uint64, error) {
	if math.IsNaN(value) && len(f.Invalid) > 0 {
		return f.Invalid[0], nil
	}
	raw := l.raw(value)
	switch f.Type {
	case Float32:
		return uint64(math.Float32bits(float32(raw))), nil
	case Float64:
		return math.Float64bits(raw), nil
	}
	r := math.RoundToEven(raw)
	lo, hi := f.Type.limits()
	if !(r >= lo && r <= hi) {
		return 0, fmt.Errorf("%s: %g does not fit %s with scale %g", f.Quantity, value, f.Type, f.Scale)
	}
	if r < 0 {
		return uint64(int64(r)) & f.Type.mask(), nil
	}
	return uint64(r), nil
}

func (t Type) limits() (lo, hi float64) {
	switch t {
	case Int16:
		return math.MinInt16, math.MaxInt16
	case Uint16:
		return 0, math.MaxUint16
	case Int32:
		return math.MinInt32, math.MaxInt32
	}
	return 0, math.MaxUint32
}

func (t Type) mask() uint64 { return 1<<(16*t.Registers()) - 1 }

// Step returns the resolution of the field in the canonical unit: the stated
// one, else that of an integer's scale, else NaN.
func (f *Field) Step() float64 {
	u, err := f.unit()
	if err != nil {
		return math.NaN()
	}
	switch {
	case f.Resolution > 0:
		return f.Resolution * u.k
	case f.Type == Float32 || f.Type == Float64:
		return math.NaN()
	case f.Scale == 0:
		return u.k
	}
	return math.Abs(f.Scale * u.k)
}

// Words turns registers into the bytes of the wire.
func Words(regs []uint16) []byte {
	b := make([]byte, 0, 2*len(regs))
	for _, r := range regs {
		b = binary.BigEndian.AppendUint16(b, r)
	}
	return b
}
