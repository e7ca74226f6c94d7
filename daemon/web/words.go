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
		return "sensor itself drifts"
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
		return lead + " contact comes and goes" + size
	case finding.LeadThermal:
		return lead + " contact swings with temperature" + size
	case finding.LeadMoisture:
		return lead + " contact follows wet and dry" + size
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

// sinceWords is " since 9 Oct", or "" where the onset is not known.
func sinceWords(f *finding.Finding, now time.Time) string {
	if f.Since.IsZero() {
		return ""
	}
	return " since " + onset(f.Since, now)
}

// forecastShort is the forecast for one line of a table; "" where it says
// nothing that needs doing.
func forecastShort(f *finding.Forecast, now time.Time) string {
	switch {
	case f == nil:
		return ""
	case f.State == finding.Dated && !f.P50.IsZero():
		return "limit about " + day(f.P50, now)
	case f.State == finding.Past:
		return "past its limit"
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
		return "The loop is past its limit of " + limitWords(f) + " already."
	case finding.NotWithinHorizon:
		return "The limit of " + limitWords(f) + " is not reached within two years at this rate."
	}
	why := strings.TrimRight(f.Why, ". ")
	return "When the limit is reached cannot be told" + prefixed(": ", why) + "."
}

func datedWords(f *finding.Forecast, now time.Time) string {
	s := "Reaches its limit of " + limitWords(f) + " about " + longDay(f.P50, now) + " (middle estimate)."
	if f.P50.IsZero() {
		s = "May reach its limit of " + limitWords(f) + "; more likely not within two years."
	}
	if !f.P10.IsZero() {
		s += " One chance in ten that it comes before " + longDay(f.P10, now) + "."
	}
	if !f.P90.IsZero() {
		s += " One in ten that it holds beyond " + longDay(f.P90, now) + "."
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
	s := headline(f) + sinceWords(f, now)
	return s + prefixed(" · ", forecastShort(f.Forecast, now))
}
