package measure

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/quantity"
)

// Lead names one conductor from the element to the transmitter, its terminals
// included: a1 and a2 on element side A, b1 and b2 on side B. A three-wire loop
// has a1, b1, b2; a two-wire loop a1, b1.
type Lead uint8

// The four leads.
const (
	A1 Lead = iota
	A2
	B1
	B2
)

// LeadCount is the number of leads a loop can have at most.
const LeadCount = 4

var leadNames = [LeadCount]string{"a1", "a2", "b1", "b2"}

// String returns a1, a2, b1 or b2.
func (l Lead) String() string {
	if l < LeadCount {
		return leadNames[l]
	}
	return fmt.Sprintf("lead(%d)", uint8(l))
}

// ParseLead reads a lead name.
func ParseLead(s string) (Lead, error) {
	for i, n := range leadNames {
		if n == s {
			return Lead(i), nil
		}
	}
	return 0, fmt.Errorf("lead %q: want a1, a2, b1 or b2", s)
}

// LeadsOf returns the leads of a loop with 2, 3 or 4 wires in the order a1 a2
// b1 b2; nil for any other count.
func LeadsOf(wires int) []Lead {
	switch wires {
	case 2:
		return []Lead{A1, B1}
	case 3:
		return []Lead{A1, B1, B2}
	case 4:
		return []Lead{A1, A2, B1, B2}
	}
	return nil
}

// Leads holds the resistance of each lead in Ω, indexed by Lead; NaN = absent.
type Leads [LeadCount]quantity.Ohm

// NoLeads returns leads that are all absent.
func NoLeads() Leads {
	n := quantity.Ohm(math.NaN())
	return Leads{n, n, n, n}
}
