package web

import (
	"strings"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// headline names a finding in a few words, with its lead and size; "" for a
// kind that has no words yet (a test refuses that).
func headline(f *finding.Finding) string {
	if s := leadHeadline(f); s != "" {
		return s
	}
	switch f.Kind {
	case finding.LeadsSwapped:
		return "two leads have changed places"
	case finding.Imbalance:
		if lead := list(f.Leads.Names()); lead != "" {
			return lead + " takes the reading over its limit"
		}
		return "reading error over its limit"
	case finding.NotFourWire:
		return "not a true four-wire connection"
	case finding.ThermalEMF:
		return "thermal voltage in the circuit"
	case finding.InsulationLeak:
		return "insulation leaks, reads low"
	case finding.CurveMismatch:
		return "sensor and curve do not match"
	case finding.SelfHeating:
		return "measuring current heats the sensor"
	case finding.SensorDrift:
		return "parts from the sensor at the same place"
	case finding.CableChanged:
		return "cable was changed"
	case finding.DeviceChanged:
		return "transmitter was changed"
	case finding.BoxCommonCause:
		return "several loops of " + orElse(f.Box, "one place") + " go bad together"
	case finding.UnbalancedCable:
		return "long extension without a balance record"
	case finding.ValueFrozen:
		return "value is frozen"
	case finding.Stale:
		return "no fresh value"
	case finding.DeviceFault:
		return "transmitter reports a fault"
	case finding.Implausible:
		return "values cannot be right"
	}
	return ""
}

// leadHeadline is headline for the kinds that are about leads.
func leadHeadline(f *finding.Finding) string {
	lead := orElse(list(f.Leads.Names()), "a lead")
	size := ""
	if quantity.Known(f.Contact) {
		size = ", " + signedOhm(f.Contact) + " Ω"
	}
	switch f.Kind {
	case finding.LeadDrift:
		return lead + " contact grows" + size
	case finding.LeadIntermittent:
		if quantity.Known(f.Contact) {
			size = ", " + ohm(f.Contact) + " Ω at a time"
		}
		return lead + " contact comes and goes" + size
	case finding.LeadThermal:
		return lead + " contact swings with temperature" // its size at one moment says little
	case finding.LeadMoisture:
		return lead + " contact follows wet and dry"
	case finding.LeadNoise:
		return lead + " has become noisy"
	case finding.LeadStep:
		return lead + " has jumped" + size
	case finding.LeadOpen:
		return lead + " is open"
	case finding.LeadShort:
		return lead + " is shorted"
	case finding.LeadRestored:
		return lead + " is sound again"
	case finding.LeadLimit:
		return lead + " is over the lead limit" + size
	}
	return ""
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// sinceWords is " since 9 Oct", " on 9 Oct" for what happened once, or "" where
// there is no onset to tell. when prints the moment.
func sinceWords(f *finding.Finding, now time.Time, when func(t, now time.Time) string) string {
	if f.Since.IsZero() {
		return ""
	}
	switch f.Kind {
	case finding.UnbalancedCable: // as old as the cable
		return ""
	case finding.LeadStep, finding.LeadRestored, finding.LeadsSwapped, finding.CableChanged, finding.DeviceChanged:
		if sameDay(f.Since, now) {
			return " at " + when(f.Since, now)
		}
		return " on " + when(f.Since, now)
	}
	return " since " + when(f.Since, now)
}

// forecastShort is the forecast for one line of a table; "" where it says
// nothing that needs doing.
func forecastShort(f *finding.Forecast, now time.Time) string {
	switch {
	case f == nil:
		return ""
	case f.State == finding.Dated && !told(f.P50, now).IsZero():
		if !f.P50.After(now) {
			return "limit due"
		}
		return "limit about " + day(f.P50, now)
	case f.State == finding.Past:
		return "limit passed"
	}
	return ""
}

// forecastWords is the forecast in full sentences.
func forecastWords(f *finding.Forecast, now time.Time) string {
	if f == nil {
		return ""
	}
	switch f.State {
	case finding.Dated:
		return datedWords(f, now)
	case finding.Past:
		return "The loop has passed its limit of " + limitWords(f) + "."
	case finding.NotWithinHorizon:
		return notWithin(f)
	}
	why := strings.TrimRight(f.Why, ". ")
	return "When the limit is reached cannot be told" + prefixed(": ", why) + "."
}

func notWithin(f *finding.Forecast) string {
	return "The limit of " + limitWords(f) + " is not reached within two years at this rate."
}

// told is a forecast date as far as one may be told: none beyond two years (and
// a month, for a forecast that stands for a while).
func told(t, now time.Time) time.Time {
	if t.After(now.AddDate(2, 1, 0)) {
		return time.Time{}
	}
	return t
}

func datedWords(f *finding.Forecast, now time.Time) string {
	p10, p50, p90 := told(f.P10, now), told(f.P50, now), told(f.P90, now)
	var s string
	switch {
	case p10.IsZero() && p50.IsZero():
		return notWithin(f)
	case p50.IsZero():
		s = "May reach its limit of " + limitWords(f) + "; more likely not within two years."
	case p50.After(now):
		s = "Reaches its limit of " + limitWords(f) + " about " + longDay(p50, now) + " (middle estimate)."
	default:
		s = "Its limit of " + limitWords(f) + " is due: the middle estimate was " + longDay(p50, now) + "."
	}
	switch {
	case p10.IsZero():
	case p10.Before(now) || sameDay(p10, now):
		s += " It may come any day."
	default:
		s += " One chance in ten that it comes before " + longDay(p10, now) + "."
	}
	if p90.After(now) {
		s += " One in ten that it holds beyond " + longDay(p90, now) + "."
	}
	if f.Why != "" {
		s += " " + fullSentence(f.Why)
	}
	return s
}

func limitWords(f *finding.Forecast) string {
	if f.Quantity == finding.LeadsLimit {
		return fixed(f.Value, 1) + " Ω of lead resistance"
	}
	return signed(f.Value, 2) + " °C"
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

// standing is the worst finding in one line: what, where, since when, and when
// the limit comes.
func standing(f *finding.Finding, now time.Time) string {
	s := headline(f) + sinceWords(f, now, onset)
	return s + prefixed(" · ", forecastShort(f.Forecast, now))
}
