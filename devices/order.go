package devices

import (
	"fmt"
	"math"
	"strings"
)

// tiniest is the smallest value but zero that a quantity of a loop can have:
// registers in a wrong order mostly read as denormals near zero, which a range
// check lets pass (0.5 Ω with its words swapped is 2.3e-41).
const tiniest = 1.0 / (1 << 20)

// plausible ranges of the quantities, in canonical units: generous, since they
// only tell an order of bytes from another.
func (q Quantity) plausible(v float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) || (v != 0 && math.Abs(v) < tiniest) {
		return false
	}
	switch q {
	case ReadingDegC:
		return v > -274 && v < 2000
	case DeviceTempDegC:
		return v > -100 && v < 300
	case SensorOhm, Sensor2Ohm:
		return v >= 0 && v < 20000
	case EMFVolt:
		return math.Abs(v) < 1
	case CycleCount:
		return v >= 0
	}
	return v > -10 && v < 5000
}

// OrderTrial is what the fields of a loop give in one byte order.
type OrderTrial struct {
	Order    Order
	Values   []Value
	Doubtful int  // values that cannot be
	Apart    bool // sensor and reading contradict each other
}

// Value is one decoded quantity in its canonical unit.
type Value struct {
	Quantity Quantity
	Value    float64
}

// Sound reports whether nothing speaks against the order.
func (t *OrderTrial) Sound() bool { return t.Doubtful == 0 && !t.Apart }

// String returns the order and what it gives.
func (t *OrderTrial) String() string {
	var b strings.Builder
	b.WriteString(t.Order.String())
	for _, v := range t.Values {
		fmt.Fprintf(&b, " %s=%.6g", v.Quantity, v.Value)
	}
	switch {
	case t.Doubtful > 0:
		fmt.Fprintf(&b, " (%d impossible)", t.Doubtful)
	case t.Apart:
		b.WriteString(" (sensor and reading contradict each other)")
	}
	return b.String()
}

// Curve gives the temperature in °C that belongs to a sensor resistance in Ω;
// ok is false outside the curve.
type Curve func(ohm float64) (degC float64, ok bool)

// apart is how far sensor and reading may differ before they contradict each
// other: leads of ten ohms that a raw sensor value still holds are 26 °C on a
// Pt100, swapped words hundreds.
const apart = 60

// Try decodes one loop's answers with one order for all fields of more than one
// register. curve may be nil.
func (d *Decoder) Try(o Order, blocks [][]byte, curve Curve) OrderTrial {
	t := OrderTrial{Order: o}
	sensor, reading := math.NaN(), math.NaN()
	for i := range d.steps {
		s := &d.steps[i]
		if s.field.Quantity == StatusWord || len(blocks[s.request]) < s.offset+2*int(s.field.Registers()) {
			continue
		}
		f := *s.field
		if f.Registers() > 1 {
			f.Order = o
		}
		v, ok := f.get(blocks[s.request][s.offset:], s.lin)
		if !ok && s.field.isInvalid(blocks[s.request][s.offset:]) {
			continue // the device has no value: says nothing about the order
		}
		t.Values = append(t.Values, Value{f.Quantity, v})
		if f.Registers() > 1 && !f.Quantity.plausible(v) {
			t.Doubtful++
		}
		switch f.Quantity {
		case SensorOhm:
			sensor = v
		case ReadingDegC:
			reading = v
		}
	}
	t.Apart = contradict(sensor, reading, curve)
	return t
}

func contradict(sensor, reading float64, curve Curve) bool {
	if curve == nil || math.IsNaN(sensor) || math.IsNaN(reading) {
		return false
	}
	at, ok := curve(sensor)
	return !ok || math.Abs(at-reading) > apart
}

// isInvalid reports whether the field holds one of its invalid patterns in its
// own order.
func (f *Field) isInvalid(src []byte) bool {
	raw := f.Raw(src)
	for _, inv := range f.Invalid {
		if raw == inv {
			return true
		}
	}
	return false
}

// Suspect reports whether the answers look as if their order of bytes were
// wrong. It is cheap enough for every reading and allocates nothing.
func (d *Decoder) Suspect(blocks [][]byte, curve Curve) bool {
	sensor, reading := math.NaN(), math.NaN()
	wide := false
	for i := range d.steps {
		s := &d.steps[i]
		q := s.field.Quantity
		if q == StatusWord || s.field.Registers() == 1 && q != SensorOhm && q != ReadingDegC {
			continue
		}
		v, ok := s.field.get(blocks[s.request][s.offset:], s.lin)
		if !ok {
			continue
		}
		if s.field.Registers() > 1 {
			wide = true
			if !q.plausible(v) {
				return true
			}
		}
		switch q {
		case SensorOhm:
			sensor = v
		case ReadingDegC:
			reading = v
		}
	}
	return wide && contradict(sensor, reading, curve)
}

// Suggest tries every order and returns the one to configure instead, when the
// configured ones are unsound and exactly one other is sound.
func (d *Decoder) Suggest(blocks [][]byte, curve Curve) (Order, bool) {
	var sound []Order
	for o := ABCD; o <= DCBA; o++ {
		t := d.Try(o, blocks, curve)
		if !t.Sound() {
			continue
		}
		if d.configured(o) {
			return 0, false
		}
		sound = append(sound, o)
	}
	if len(sound) != 1 {
		return 0, false
	}
	return sound[0], true
}

// configured reports whether all wide fields have the order.
func (d *Decoder) configured(o Order) bool {
	for i := range d.steps {
		if f := d.steps[i].field; f.Registers() > 1 && f.Order != o {
			return false
		}
	}
	return true
}
