package devices

import "fmt"

var quantityNames = [...]string{
	"none", "a1", "a2", "b1", "b2", "loop_a", "loop_b",
	"pair_a1a2", "pair_b1b2", "pair_a1b1", "pair_a1b2", "pair_a2b1", "pair_a2b2",
	"sensor", "sensor2", "reading", "device_temp", "emf", "cycle", "status",
}

// String returns the name used in profiles and messages.
func (q Quantity) String() string {
	if int(q) < len(quantityNames) {
		return quantityNames[q]
	}
	return fmt.Sprintf("quantity(%d)", uint8(q))
}

// QuantityNames lists every quantity name in the order of the constants,
// QuantityNone left out.
func QuantityNames() []string { return append([]string(nil), quantityNames[1:]...) }

// ParseQuantity reads a quantity name.
func ParseQuantity(s string) (Quantity, error) {
	for i, n := range quantityNames[1:] {
		if n == s {
			return Quantity(i + 1), nil
		}
	}
	return QuantityNone, fmt.Errorf("quantity %q: want one of %v", s, quantityNames[1:])
}

var typeNames = [...]string{"int16", "uint16", "int32", "uint32", "float32", "float64"}

// String returns the name used in profiles.
func (t Type) String() string {
	if int(t) < len(typeNames) {
		return typeNames[t]
	}
	return fmt.Sprintf("type(%d)", uint8(t))
}

// TypeNames lists every type name in the order of the constants.
func TypeNames() []string { return append([]string(nil), typeNames[:]...) }

// ParseType reads a type name.
func ParseType(s string) (Type, error) {
	for i, n := range typeNames {
		if n == s {
			return Type(i), nil
		}
	}
	return 0, fmt.Errorf("type %q: want one of %v", s, typeNames)
}

var orderNames = [...]string{"ABCD", "CDAB", "BADC", "DCBA"}

// String returns ABCD, CDAB, BADC or DCBA.
func (o Order) String() string {
	if int(o) < len(orderNames) {
		return orderNames[o]
	}
	return fmt.Sprintf("order(%d)", uint8(o))
}

// OrderNames lists every order name in the order of the constants.
func OrderNames() []string { return append([]string(nil), orderNames[:]...) }

// ParseOrder reads an order name.
func ParseOrder(s string) (Order, error) {
	for i, n := range orderNames {
		if n == s {
			return Order(i), nil
		}
	}
	return 0, fmt.Errorf("order %q: want one of %v", s, orderNames)
}

// String returns holding or input.
func (t Table) String() string {
	switch t {
	case Holding:
		return "holding"
	case Input:
		return "input"
	}
	return fmt.Sprintf("table(%d)", uint8(t))
}

// ParseTable reads holding or input.
func ParseTable(s string) (Table, error) {
	switch s {
	case "holding":
		return Holding, nil
	case "input":
		return Input, nil
	}
	return 0, fmt.Errorf("table %q: want holding or input", s)
}
