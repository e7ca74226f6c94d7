package devices

import "slices"

// Wired returns the profile as a loop with the given number of wires uses it:
// without the fields of leads that the loop does not have. A transmitter that
// can take four leads marks the unused ones invalid, which is right and no
// fault. The registers stay in the request when they lie between others.
func (p *Profile) Wired(wires int) *Profile {
	lacks := lacking(wires)
	if !slices.ContainsFunc(p.Fields, func(f Field) bool { return slices.Contains(lacks, f.Quantity) }) {
		return p
	}
	q := *p
	q.Fields = slices.DeleteFunc(slices.Clone(p.Fields), func(f Field) bool { return slices.Contains(lacks, f.Quantity) })
	return &q
}

// lacking lists the quantities that a loop with so many wires cannot have.
func lacking(wires int) []Quantity {
	three := []Quantity{LeadA2, LoopA, PairA1A2, PairA2B1, PairA2B2}
	switch wires {
	case 2:
		return append(three, LeadB2, LoopB, PairB1B2, PairA1B2)
	case 3:
		return three
	}
	return nil
}
