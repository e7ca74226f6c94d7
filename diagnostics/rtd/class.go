package rtd

// Class is a tolerance class of IEC 60751 or a grade of ASTM E1137.
type Class uint8

// The classes and grades; ClassNone means none is stated.
const (
	ClassNone Class = iota
	ClassAA
	ClassA
	ClassB
	ClassC
	GradeA
	GradeB
)
