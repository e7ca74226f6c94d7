package diagnostics

import (
	"fmt"
	"strings"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// Sight is how one quantity of a loop is known, and what that rests on.
type Sight struct {
	Knowledge  Knowledge
	Assumption string // what an inferred or bounded value rests on; empty for measured ones
}

// Observability says for a loop what it can and cannot see. It follows from
// the spec alone.
type Observability struct {
	Tag        string
	Leads      [measure.LeadCount]Sight
	HasLead    [measure.LeadCount]bool // a lead that the loop does not have is not shown
	Imbalance  Sight
	Error      Sight // the absolute reading error
	SinceCal   Sight // the reading error since calibration
	Element    Sight
	Partner    bool     // a partner loop can reveal a hidden lead
	Notes      []string // defaults in use, and what the class or the wiring forbids
	Calibrated Calibrated
}

// The assumptions, as they are printed.
const (
	equalCable    = "assuming one cable with equal leads"
	halfLoop      = "assuming both leads of a loop are equal"
	cableData     = "assuming the cable's data sheet and sound terminals"
	byMethod      = "the method leaves no lead in the reading"
	byDevice      = "the device measures each lead and removes it"
	withSumOnly   = "it lies between 0 and the loop it is part of"
	partnerHidden = "assuming the partner loop is right, or at an isothermal moment"
)

// Observe states what a loop can see.
func Observe(spec Spec) Observability {
	e := newEstimator(&spec)
	o := Observability{Tag: spec.Tag, Partner: spec.Partner != "", Calibrated: spec.Calibrated}
	for l := measure.A1; l <= measure.B2; l++ {
		o.HasLead[l] = e.has(l)
		if o.HasLead[l] {
			o.Leads[l] = e.sightOfLead(l, o.Partner)
		}
	}
	o.Imbalance = e.sightOfImbalance()
	o.Error = o.Imbalance
	o.SinceCal = sinceCalibration(&e, o.Imbalance)
	o.Element = elementFrom(&spec, o.Imbalance)
	o.Notes = notes(&spec, &e)
	return o
}

func (e *estimator) sightOfLead(l measure.Lead, partner bool) Sight {
	switch {
	case e.reported(l):
		return Sight{Knowledge: Measured}
	case e.reports == wiring.PairsOnly && partner:
		return Sight{Inferred, partnerHidden}
	case e.reports == wiring.PairsOnly:
		return Sight{Inferred, equalCable}
	case e.reports == wiring.LoopsOnly && (e.wires == 4 || l != measure.A1):
		return Sight{Bounded, withSumOnly}
	case e.reports == wiring.LoopsOnly:
		return Sight{Inferred, equalCable}
	case e.cable > 0:
		return Sight{Inferred, cableData}
	}
	return Sight{Knowledge: Invisible}
}

func (e *estimator) sightOfImbalance() Sight {
	switch {
	case e.exact:
		return Sight{Measured, byMethod}
	case e.method == wiring.DeviceCorrected:
		return Sight{Measured, byDevice}
	case e.reports == wiring.AllLeads:
		return Sight{Knowledge: Measured}
	case e.reports == wiring.PairsOnly:
		return Sight{Inferred, equalCable}
	case e.reports == wiring.LoopsOnly && e.method == wiring.FourWireLoop:
		return Sight{Inferred, halfLoop}
	case e.reports == wiring.LoopsOnly:
		return Sight{Inferred, equalCable}
	case e.cable > 0:
		return Sight{Inferred, cableData}
	}
	return Sight{Knowledge: Invisible}
}

// sinceCalibration: a value that never changes with the leads cannot show their
// change, however well the cable is known.
func sinceCalibration(e *estimator, imbalance Sight) Sight {
	if e.reports == wiring.ReadingOnly && !e.exact && e.method != wiring.DeviceCorrected {
		return Sight{Knowledge: Invisible}
	}
	return imbalance
}

func elementFrom(s *Spec, imbalance Sight) Sight {
	if s.SensorIs == wiring.ElementOnly {
		return Sight{Knowledge: Measured}
	}
	return imbalance
}

// notes lists the defaults in use and what the standards forbid.
func notes(s *Spec, e *estimator) []string {
	var n []string
	if !positive(s.Accuracy.Lead) && !e.exact && s.Reports != wiring.ReadingOnly {
		n = append(n, fmt.Sprintf("lead accuracy not stated: ±%g Ω taken", float64(DefaultLeadAccuracy)))
	}
	if !positive(s.Spread) && s.Reports != wiring.AllLeads && !e.exact {
		n = append(n, fmt.Sprintf("spread of the cable not stated: %g %% of a lead taken", DefaultSpread*100))
	}
	if s.Wires == 2 && (s.Class == rtd.ClassA || s.Class == rtd.ClassAA) {
		n = append(n, fmt.Sprintf("%v does not allow a two-wire connection (IEC 60751)", s.Class))
	}
	if s.Calibrated == CalibratedUnknown && !e.exact {
		n = append(n, "not known how the loop was calibrated: both errors are shown, the limit applies to the absolute one")
	}
	if s.Reports == wiring.LoopsOnly && e.cable <= 0 && !e.exact {
		n = append(n, "the cable's resistance is not stated: a contact that grows in a loop cannot be told from a longer cable")
	}
	if s.Reports == wiring.PairsOnly {
		n = append(n, "a contact that grows on lead a1 looks like a warmer process: only a step, noise or a partner loop shows it")
	}
	if s.Class != rtd.ClassNone && s.Class < rtd.GradeA && s.Sensor.Valid() && !strings.HasPrefix(s.Sensor.Name(), "Pt") {
		n = append(n, fmt.Sprintf("%v is a class of platinum sensors; it is applied to %s as it stands", s.Class, s.Sensor.Name()))
	}
	return n
}

// Lines returns one line for each quantity, and one for each note, as the
// command line and the pages print them.
func (o *Observability) Lines() []string {
	var out []string
	for l := measure.A1; l <= measure.B2; l++ {
		if o.HasLead[l] {
			out = append(out, "lead "+l.String()+": "+o.Leads[l].String())
		}
	}
	out = append(out,
		"imbalance: "+o.Imbalance.String(),
		"reading error, absolute: "+o.Error.String(),
		"reading error since calibration: "+o.SinceCal.String(),
		"element: "+o.Element.String())
	for _, n := range o.Notes {
		out = append(out, "note: "+n)
	}
	return out
}

// String joins the lines.
func (o *Observability) String() string { return strings.Join(o.Lines(), "\n") }

// String returns the knowledge and what it rests on.
func (s Sight) String() string {
	if s.Assumption == "" {
		return s.Knowledge.String()
	}
	return s.Knowledge.String() + ", " + s.Assumption
}

// Nameable reports whether a bad lead of the loop can be told from the others:
// where it cannot, no finding names one.
func (o *Observability) Nameable(l measure.Lead) bool {
	return o.HasLead[l] && o.Leads[l].Knowledge == Measured
}

// expectedLead returns the spec's lead at 20 °C: as stated, or from conductor
// and length; 0 where neither is known.
func (s *Spec) expectedLead() quantity.Ohm {
	if positive(s.Cable20) {
		return s.Cable20
	}
	if s.Conductor.PerMetre() > 0 && positive(s.CableM) {
		return s.Conductor.ResistanceAt(s.CableM, 20)
	}
	return 0
}
