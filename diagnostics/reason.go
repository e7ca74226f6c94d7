package diagnostics

import "ohmdrift/diagnostics/measure"

// The reasons are constants and tables so that a bad sample allocates no more
// than a good one.
const (
	reasonNoImbalance   Reason = "the imbalance cannot be told from what the transmitter reports"
	reasonNoLoopB       Reason = "loop b1 + b2 is not reported"
	reasonNoLoops       Reason = "the loops a1 + a2 and b1 + b2 are not reported"
	reasonBadLoop       Reason = "a loop of two leads has an impossible resistance"
	reasonExtraLead     Reason = "a lead is reported that the configured wiring does not have; check wires and reports"
	reasonBadPair       Reason = "a terminal pair has an impossible resistance"
	reasonClosure       Reason = "the terminal pairs contradict each other: values of different moments, or a leak between leads"
	reasonLoopMismatch  Reason = "the leads do not add up to their reported loop: values of different moments, or a wrong register"
	reasonNoSensor      Reason = "neither the sensor resistance nor the reading is reported"
	reasonBadSensor     Reason = "the sensor resistance is not a positive number"
	reasonOutOfCurve    Reason = "the sensor resistance is outside the sensor's curve: open, shorted, or another sensor"
	reasonReadingRange  Reason = "the reading is outside the sensor's curve"
	reasonElementRange  Reason = "the reading less its error is outside the sensor's curve"
	reasonRawNeedsLeads Reason = "the raw sensor resistance cannot be freed of its leads: they are not reported"
	reasonNotFourWire   Reason = "the leads cannot be those of a four-wire connection: the error is that of the wiring found"
	reasonNoBaseline    Reason = "calibrated with the leads in circuit, but no baseline is set"
)

// leadReason holds one text per lead.
type leadReason [measure.LeadCount]Reason

var (
	reasonMissing = leadReason{
		"lead a1 is not reported", "lead a2 is not reported", "lead b1 is not reported", "lead b2 is not reported",
	}
	reasonInfinite = leadReason{
		"lead a1 is infinite: open, or a wrong register", "lead a2 is infinite: open, or a wrong register",
		"lead b1 is infinite: open, or a wrong register", "lead b2 is infinite: open, or a wrong register",
	}
	reasonNegative = leadReason{
		"lead a1 is negative by more than its accuracy", "lead a2 is negative by more than its accuracy",
		"lead b1 is negative by more than its accuracy", "lead b2 is negative by more than its accuracy",
	}
	reasonAbsurd = leadReason{
		"lead a1 is beyond what a lead can be: open, or a wrong register", "lead a2 is beyond what a lead can be: open, or a wrong register",
		"lead b1 is beyond what a lead can be: open, or a wrong register", "lead b2 is beyond what a lead can be: open, or a wrong register",
	}
)

var reasonSample = [...]Reason{
	measure.Stale:         "the sample is stale",
	measure.Comms:         "the device did not answer",
	measure.Device:        "the device itself reports that it is not well",
	measure.Configuration: "the register map or the plant description is wrong",
	measure.Invalid:       "the device sent an invalid value",
	measure.OutOfRange:    "a value is out of range",
	measure.Frozen:        "the values repeat bit for bit",
	measure.Skewed:        "the values are of different moments",
}

func sampleReason(q measure.Quality) Reason {
	if int(q) < len(reasonSample) && reasonSample[q] != "" {
		return reasonSample[q]
	}
	return "the sample is not usable"
}
