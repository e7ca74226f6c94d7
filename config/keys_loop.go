package config

import (
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// property is one thing known of a loop: as a key of a loop in YAML, where
// values carry their unit, and as a column of the instrument index, where the
// name of the column does.
type property struct {
	key    key[loopDraft]
	column column
}

// column is one column of the instrument index.
type column struct {
	name  string
	doc   string
	read  func(r *report, cell string, at Place, header string, dst *loopDraft)
	spoil func(dst *loopDraft)
}

func both[V any](name, col, doc string, yaml, csv grammar[V], to func(*loopDraft) *given[V]) property {
	k := of(name, doc, yaml.node(), to)
	k.alias = col
	return property{k, column{col, doc, func(r *report, cell string, at Place, header string, dst *loopDraft) {
		v, f := csv.parse(cell)
		if f != nil {
			r.fault(at, header, f)
		}
		*to(dst) = given[V]{value: v, at: at, path: header, ok: f == nil, bad: f != nil}
	}, k.spoil}}
}

// same is a property that is written alike in YAML and CSV.
func same[V any](name, doc string, g grammar[V], to func(*loopDraft) *given[V]) property {
	return both(name, strings.ReplaceAll(name, "-", "_"), doc, g, g, to)
}

// What a loop can be, widely: the limits catch wrong units, not odd plants.
const (
	maxLimit     quantity.DeltaC = 100
	maxLead      quantity.Ohm    = 1000
	maxCable     quantity.Metre  = 20000
	fastInterval                 = 100 * time.Millisecond
	slowInterval                 = time.Hour
)

// properties lists everything that can be said of a loop, in the order in which
// the manual explains it.
func properties() []property {
	return []property{
		same("tag", "instrument tag, the name of the loop", text(), func(l *loopDraft) *given[string] { return &l.tag }),
		same("site", "site, if not that of the plant", text(), func(l *loopDraft) *given[string] { return &l.site }),
		same("area", "area of the site", text(), func(l *loopDraft) *given[string] { return &l.area }),
		same("box", "junction box", text(), func(l *loopDraft) *given[string] { return &l.box }),
		same("cabinet", "marshalling cabinet", text(), func(l *loopDraft) *given[string] { return &l.cabinet }),
		same("cable", "name of the cable", text(), func(l *loopDraft) *given[string] { return &l.cable }),
		same("wires", "leads between element and transmitter", whole(2, 4), func(l *loopDraft) *given[int] { return &l.wires }),
		same("method", "how the input removes lead resistance", oneOf[wiring.Method](wiring.Methods()...), func(l *loopDraft) *given[wiring.Method] { return &l.method }),
		both("offset", "offset_ohm", "fixed compensation of two-wire-fixed", ohms(0, maxLead), inUnit[quantity.Ohm](0, float64(maxLead)), func(l *loopDraft) *given[quantity.Ohm] { return &l.offset }),
		same("reports", "what the transmitter shows of its leads", oneOf[wiring.Reports](wiring.ReportLevels()...), func(l *loopDraft) *given[wiring.Reports] { return &l.reports }),
		same("sensor", "sensor curve, such as Pt100", text(), func(l *loopDraft) *given[string] { return &l.sensor }),
		same("sensor-is", "what the sensor resistance stands for, if not as the profile says", oneOf[wiring.SensorIs](sensorMeanings()...), func(l *loopDraft) *given[wiring.SensorIs] { return &l.sensorIs }),
		same("class", "tolerance class or grade of the sensor", classes(), func(l *loopDraft) *given[rtd.Class] { return &l.class }),
		same("construction", "wire-wound or film; it decides where the class holds", oneOf[rtd.Construction](rtd.WireWound.String(), rtd.Film.String()), func(l *loopDraft) *given[rtd.Construction] { return &l.construction }),
		both("limit", "limit_degC", "largest reading error that the process allows, either side", deltas(0.001, maxLimit), inUnit[quantity.DeltaC](0.001, float64(maxLimit)), func(l *loopDraft) *given[quantity.DeltaC] { return &l.limit }),
		both("limit-high", "limit_high_degC", "largest reading error upwards", deltas(0.001, maxLimit), inUnit[quantity.DeltaC](0.001, float64(maxLimit)), func(l *loopDraft) *given[quantity.DeltaC] { return &l.limitHigh }),
		both("limit-low", "limit_low_degC", "largest reading error downwards; either sign", deltas(-maxLimit, maxLimit), inUnit[quantity.DeltaC](-float64(maxLimit), float64(maxLimit)), func(l *loopDraft) *given[quantity.DeltaC] { return &l.limitLow }),
		both("lead-limit", "lead_limit_ohm", "lead resistance up to which the device works", ohms(0.01, maxLead), inUnit[quantity.Ohm](0.01, float64(maxLead)), func(l *loopDraft) *given[quantity.Ohm] { return &l.leadLimit }),
		same("decision-rule", "when an uncertain error counts as over its limit", oneOf[diagnostics.DecisionRule]("probable", "certain", "possible"), func(l *loopDraft) *given[diagnostics.DecisionRule] { return &l.rule }),
		same("calibrated", "whether the leads were in the circuit at calibration", oneOf[diagnostics.Calibrated]("unknown", "never", "leads-out", "leads-in"), func(l *loopDraft) *given[diagnostics.Calibrated] { return &l.calibrated }),
		both("cable-length", "cable_m", "length of the extension cable", within(length(), 0, maxCable, "0 to 20 km"), inUnit[quantity.Metre](0, float64(maxCable)), func(l *loopDraft) *given[quantity.Metre] { return &l.cableLength }),
		same("conductor", "conductor of the cable, such as 0.75 mm2 or 22 AWG", conductor(), func(l *loopDraft) *given[copper.Conductor] { return &l.conductor }),
		same("spread", "largest minus smallest lead of the cable as a share of a lead, such as 2 %", spread(), func(l *loopDraft) *given[float64] { return &l.spread }),
		same("balance", "record of a balance check of the cable", text(), func(l *loopDraft) *given[string] { return &l.balance }),
		same("partner", "tag of a loop at the same place", text(), func(l *loopDraft) *given[string] { return &l.partner }),
		same("role", "control, indication, …", text(), func(l *loopDraft) *given[string] { return &l.role }),
		both("outdoor", "outdoor", "cable outdoors", truth(), cellFlag(), func(l *loopDraft) *given[bool] { return &l.outdoor }),
		same("service", "steady, batch, steamed, …", text(), func(l *loopDraft) *given[string] { return &l.service }),
		same("link", "name of the link", text(), func(l *loopDraft) *given[string] { return &l.link }),
		same("unit", "Modbus unit", whole(0, 255), func(l *loopDraft) *given[int] { return &l.unit }),
		same("profile", "name of the register map", text(), func(l *loopDraft) *given[string] { return &l.profile }),
		same("base", "number of the loop's first register, counted as the profile counts", whole(0, 65536), func(l *loopDraft) *given[int] { return &l.base }),
		both("interval", "interval_s", "time between polls", lasting(fastInterval, slowInterval), seconds(), func(l *loopDraft) *given[time.Duration] { return &l.interval }),
	}
}

// loopKeys returns the YAML keys of a loop; those of the defaults have no tag
// and nothing that only one loop can have.
func loopKeys() []key[loopDraft] {
	var keys []key[loopDraft]
	for _, p := range properties() {
		k := p.key
		if k.name == "tag" {
			k = k.must("TT-1204")
		}
		keys = append(keys, k)
	}
	return keys
}

func defaultKeys() []key[loopDraft] {
	var keys []key[loopDraft]
	for _, p := range properties() {
		switch p.key.name {
		case "tag", "partner", "base":
		default:
			keys = append(keys, p.key)
		}
	}
	return keys
}

func sensorMeanings() []string {
	return []string{wiring.AfterMethod.String(), wiring.Raw.String(), wiring.ElementOnly.String()}
}

func classes() grammar[rtd.Class] {
	g := by(rtd.ParseClass, schema{"type": "string", "examples": rtd.Classes()})
	g.spelling = quoted
	inner := g.parse
	g.parse = func(s string) (rtd.Class, *fault) {
		if strings.TrimSpace(s) == "" {
			return rtd.ClassNone, faultf("leave it out where none is stated", "empty")
		}
		return inner(s)
	}
	return g
}

func conductor() grammar[copper.Conductor] {
	return by(copper.ParseConductor, schema{"type": "string", "examples": []string{"22 AWG", "0.75 mm2", "0.75 mm2 class 5"}})
}

func spread() grammar[float64] {
	return within(by(quantity.ParseShare, schema{"type": "string", "examples": []string{"2 %"}}), 0, 0.5, "0 to 50 %")
}
