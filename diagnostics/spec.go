package diagnostics

import (
	"time"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// Spec is what is known about a loop before the first sample: the instrument
// index and the transmitter's data sheet. It does not change while the loop
// runs; a reload builds a new one. Optional numbers that must be positive may be
// NaN or 0 when not given (NewSpec makes them NaN).
type Spec struct {
	Tag     string
	Site    string
	Area    string
	Box     string // junction box
	Cabinet string // marshalling cabinet
	Cable   string
	Role    string // control, indication, …
	Service string // steady, batch, steamed, …; free text of the site
	Partner string // tag of a loop at the same place
	Outdoor bool

	Wires    int // 2, 3 or 4
	Method   wiring.Method
	Fixed    quantity.Ohm // fixed compensation Rc of two-wire-fixed, Ω
	Reports  wiring.Reports
	SensorIs wiring.SensorIs
	Sensor   rtd.Sensor
	Class    rtd.Class

	Construction rtd.Construction // wire-wound where not stated
	Spread       float64          // largest minus smallest lead of one cable, share of a lead; 0 or NaN = DefaultSpread
	Conductor    copper.Conductor // of the extension; the zero value = not stated
	Points       int              // terminal points that one lead passes; 0 = not stated

	LimitHigh  quantity.DeltaC // largest reading error upwards that the process allows, > 0; NaN = none
	LimitLow   quantity.DeltaC // largest reading error downwards, < 0; NaN = none
	LeadLimit  quantity.Ohm    // lead resistance up to which the device works; NaN = none
	Rule       DecisionRule
	Calibrated Calibrated

	Cable20  quantity.Ohm // expected resistance of one lead at 20 °C, terminals included; NaN = unknown
	CableM   quantity.Metre
	Balance  string // record of a balance check; empty = none
	Interval time.Duration

	Accuracy Accuracy
}

// NewSpec returns a spec in which every optional number is absent.
func NewSpec(tag string) Spec {
	o, d := quantity.Ohm(quantity.Absent), quantity.DeltaC(quantity.Absent)
	return Spec{
		Tag: tag, Fixed: o, LimitHigh: d, LimitLow: d, LeadLimit: o, Cable20: o,
		CableM: quantity.Metre(quantity.Absent), Spread: quantity.Absent, Accuracy: NoAccuracy(),
	}
}

// NoAccuracy returns a data sheet that states nothing.
func NoAccuracy() Accuracy {
	o, d := quantity.Ohm(quantity.Absent), quantity.DeltaC(quantity.Absent)
	return Accuracy{
		Lead: o, LeadResolution: o, Sensor: o, SensorRes: o, Gain: quantity.Absent, Offset: o,
		EMF: quantity.Volt(quantity.Absent), Current: quantity.Ampere(quantity.Absent), Current2: quantity.Ampere(quantity.Absent),
		SelfHeating: d, Instrument: d,
	}
}

// Calibrated says whether the imbalance was trimmed out at calibration.
type Calibrated uint8

// How the loop was calibrated.
const (
	CalibratedUnknown Calibrated = iota // both errors are shown, and said so
	CalibratedNever                     // absolute error counts
	LeadsOut                            // absolute error counts
	LeadsIn                             // the imbalance at calibration was trimmed out: the change since counts
)

// DecisionRule says when an uncertain error counts as over its limit (JCGM 106).
type DecisionRule uint8

// The decision rules.
const (
	Probable DecisionRule = iota // P ≥ 50 % raises, clears below limit − U
	Certain                      // P ≥ 95 %
	Possible                     // P ≥ 5 %
)

// Accuracy is the data sheet of the transmitter as limits ±a (rectangular), from
// the profile; NaN where not stated.
type Accuracy struct {
	Lead           quantity.Ohm    // of each lead value
	LeadResolution quantity.Ohm    // step of the lead values
	Sensor         quantity.Ohm    // of the sensor value
	SensorRes      quantity.Ohm    // step of the sensor value
	Gain           float64         // common gain error of the lead measurement, relative
	Offset         quantity.Ohm    // common offset of the lead measurement
	EMF            quantity.Volt   // thermal EMF that may be present
	Current        quantity.Ampere // measuring current
	Current2       quantity.Ampere // current of the second sensor value; negative = reversed; 0 or NaN = none
	SelfHeating    quantity.DeltaC
	Instrument     quantity.DeltaC // remaining instrument error of the reading
}

// Leads returns the leads the loop has.
func (s *Spec) Leads() []measure.Lead { return measure.LeadsOf(s.Wires) }
