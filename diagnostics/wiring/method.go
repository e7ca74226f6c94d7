package wiring

import "fmt"

// Method is how the transmitter input removes lead resistance.
type Method uint8

// The methods; the error each leaves is in Imbalance.
const (
	TwoWire         Method = iota // nothing removed: a1 + b1
	TwoWireFixed                  // a fixed value removed: a1 + b1 − Rc
	ThreeWireLoop                 // loop b1 + b2 measured and subtracted: a1 − b2
	ThreeWireDual                 // two matched sources, or one with a sense lead: a1 − b1
	ThreeWireHalf                 // half the loop b1 + b2 subtracted: a1 − (b1 + b2)/2
	FourWire                      // current and potential leads apart: 0
	FourWireLoop                  // compensating loop: a1 + … − loop
	DeviceCorrected               // the device measures each lead and removes it: 0, with its own uncertainty
)

var methodNames = [...]string{
	"two-wire", "two-wire-fixed", "three-wire-loop", "three-wire-dual", "three-wire-half",
	"four-wire", "four-wire-loop", "device-corrected",
}

// String returns the name used in config and on screens.
func (m Method) String() string {
	if int(m) < len(methodNames) {
		return methodNames[m]
	}
	return fmt.Sprintf("method(%d)", uint8(m))
}

// Methods lists every method name in the order of the constants.
func Methods() []string { return append([]string(nil), methodNames[:]...) }

// ParseMethod reads a method name.
func ParseMethod(s string) (Method, error) {
	for i, n := range methodNames {
		if n == s {
			return Method(i), nil
		}
	}
	return 0, fmt.Errorf("method %q: want one of %v", s, methodNames)
}

// Wires returns how many leads the method needs: 2, 3 or 4; 0 where the method
// (device-corrected) leaves it open.
func (m Method) Wires() int {
	switch m {
	case TwoWire, TwoWireFixed:
		return 2
	case ThreeWireLoop, ThreeWireDual, ThreeWireHalf:
		return 3
	case FourWire, FourWireLoop:
		return 4
	}
	return 0
}

// Reports is what the transmitter shows of its leads.
type Reports uint8

// The report levels.
const (
	AllLeads    Reports = iota // each lead
	PairsOnly                  // three-wire: b1 and b2, never a1
	LoopsOnly                  // sums a1+a2, b1+b2
	ReadingOnly                // nothing of the leads; every two-wire
)

var reportsNames = [...]string{"all-leads", "pairs", "loops", "reading"}

// String returns the name used in config and on screens.
func (r Reports) String() string {
	if int(r) < len(reportsNames) {
		return reportsNames[r]
	}
	return fmt.Sprintf("reports(%d)", uint8(r))
}

// ReportLevels lists every report level name in the order of the constants.
func ReportLevels() []string { return append([]string(nil), reportsNames[:]...) }

// ParseReports reads a report level.
func ParseReports(s string) (Reports, error) {
	for i, n := range reportsNames {
		if n == s {
			return Reports(i), nil
		}
	}
	return 0, fmt.Errorf("reports %q: want one of %v", s, reportsNames)
}

// SensorIs says what a transmitter's sensor resistance stands for.
type SensorIs uint8

// The meanings of a sensor register.
const (
	AfterMethod SensorIs = iota // after the input method: element + imbalance
	Raw                         // as measured at the terminals, leads included
	ElementOnly                 // the element alone, every lead removed
)

var sensorIsNames = [...]string{"after-method", "raw", "element"}

// String returns the name used in profiles.
func (s SensorIs) String() string {
	if int(s) < len(sensorIsNames) {
		return sensorIsNames[s]
	}
	return fmt.Sprintf("sensor(%d)", uint8(s))
}

// ParseSensorIs reads after-method, raw or element.
func ParseSensorIs(s string) (SensorIs, error) {
	for i, n := range sensorIsNames {
		if n == s {
			return SensorIs(i), nil
		}
	}
	return 0, fmt.Errorf("sensor meaning %q: want one of %v", s, sensorIsNames)
}
