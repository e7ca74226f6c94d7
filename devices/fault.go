package devices

import (
	"errors"
	"fmt"
	"time"

	"ohmdrift/diagnostics/measure"
)

// Fault sorts what can go wrong with one request by what to do about it.
type Fault uint8

// The faults. Exceptions are sorted by meaning (MODBUS Application Protocol
// V1.1b3 section 7): 01–03 are about the register map, 04 and 08 about the
// device, 05 and 06 ask to come back later, 0A and 0B say that a gateway did
// not reach the unit, which is the unit's trouble and not the link's.
const (
	FaultNone          Fault = iota
	FaultTimeout             // no answer
	FaultGarbled             // an answer that is not one: CRC, length, unit, function
	FaultConfiguration       // exceptions 01, 02, 03
	FaultDevice              // exceptions 04, 08 and those outside the standard
	FaultBusy                // exceptions 05, 06
	FaultPath                // exceptions 0A, 0B
	FaultLost                // the connection is gone: open it again
	FaultUnsynced            // a late answer may still come that could not be told from this one
	FaultRefused             // this package refused to send it
)

var faultNames = [...]string{"good", "timeout", "garbled", "configuration", "device", "busy", "path", "lost", "unsynced", "refused"}

// Faults is the number of faults, FaultNone included.
const Faults = len(faultNames)

// String returns the word used in metrics.
func (f Fault) String() string {
	if int(f) < len(faultNames) {
		return faultNames[f]
	}
	return fmt.Sprintf("fault(%d)", uint8(f))
}

// Quality returns the quality of a sample whose request failed so.
func (f Fault) Quality() measure.Quality {
	switch f {
	case FaultNone:
		return measure.Good
	case FaultConfiguration, FaultRefused:
		return measure.Configuration
	case FaultDevice:
		return measure.Device
	}
	return measure.Comms
}

// RequestError is one failed request: where, what, and what to do.
type RequestError struct {
	Fault Fault
	Link  string // address of the gateway or port
	Unit  uint8
	Table Table  // 0 = name plate
	Addr  uint16 // wire address
	Count uint16
	Code  uint8         // exception code, 0 = none
	Took  time.Duration // how long the request ran
	Cause error
}

// Error says which register of which unit did what, and what to look at.
func (e *RequestError) Error() string {
	if e.Table == 0 {
		return fmt.Sprintf("gateway %s unit %d name plate (43/14): %s", e.Link, e.Unit, e.text())
	}
	return fmt.Sprintf("gateway %s unit %d %s registers %d..%d (wire address): %s",
		e.Link, e.Unit, e.Table, e.Addr, int(e.Addr)+int(e.Count)-1, e.text())
}

func (e *RequestError) text() string {
	switch e.Fault {
	case FaultTimeout:
		return fmt.Sprintf("no answer in %v; is the unit powered, is its address right?", e.Took.Round(time.Millisecond))
	case FaultUnsynced:
		return "an answer to an earlier request may still come; waiting it out"
	case FaultGarbled, FaultLost, FaultRefused:
		return e.Cause.Error()
	}
	return exceptionText(e.Code)
}

// Unwrap returns what the transport said.
func (e *RequestError) Unwrap() error { return e.Cause }

func exceptionText(code uint8) string {
	switch code {
	case 1:
		return "exception 01 illegal function; does the unit hold its values in the other table?"
	case 2:
		return "exception 02 illegal data address; compare profile and base with the device's register map"
	case 3:
		return "exception 03 illegal data value; is the block longer than the device allows (max-read)?"
	case 4:
		return "exception 04 device failure; see the device's own diagnostics"
	case 5:
		return "exception 05 acknowledge: the device needs longer"
	case 6:
		return "exception 06 device busy"
	case 8:
		return "exception 08 memory parity error; the device needs service"
	case 10:
		return "exception 0A gateway path unavailable; check the gateway's routing"
	case 11:
		return "exception 0B the unit does not answer its gateway; is it powered, is its address right?"
	}
	return fmt.Sprintf("exception %02X, which the standard does not know", code)
}

// exceptionFault sorts an exception code.
func exceptionFault(code uint8) Fault {
	switch code {
	case 1, 2, 3:
		return FaultConfiguration
	case 5, 6:
		return FaultBusy
	case 10, 11:
		return FaultPath
	}
	return FaultDevice
}

// FaultOf returns the fault of an error of this package: FaultNone for nil,
// FaultLost for an error that is not a RequestError.
func FaultOf(err error) Fault {
	if err == nil {
		return FaultNone
	}
	var e *RequestError
	if errors.As(err, &e) {
		return e.Fault
	}
	return FaultLost
}
