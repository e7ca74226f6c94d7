package config

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

type profileDraft struct {
	name, description given[string]
	table             given[string]
	addressBase       given[int]
	maxRead           given[int]
	renew             given[time.Duration]
	sensorIs          given[wiring.SensorIs]
	identity          given[bool]
	accuracy          given[accuracyDraft]
	blocks            given[[]given[blockDraft]]
	fields            given[[]given[fieldDraft]]
}

type accuracyDraft struct {
	lead, leadResolution, sensor, sensorResolution, offset given[quantity.Ohm]
	gain                                                   given[float64]
	emf                                                    given[quantity.Volt]
	current, current2                                      given[quantity.Ampere]
	selfHeating, instrument                                given[quantity.DeltaC]
}

type blockDraft struct{ address, count given[int] }

type fieldDraft struct {
	quantity      given[devices.Quantity]
	address       given[int]
	typ           given[devices.Type]
	order         given[devices.Order]
	scale, offset given[float64]
	resolution    given[float64]
	unit          given[string]
	invalid       given[[]given[uint64]]
	status        given[[]given[statusDraft]]
}

type statusDraft struct {
	mask, equals given[uint64]
	quality      given[string]
	text         given[string]
}

func profileKeys() []key[profileDraft] {
	return []key[profileDraft]{
		of("name", "name that loops use", text().node(), func(p *profileDraft) *given[string] { return &p.name }).must("hall-3-leads"),
		of("description", "what this register map is for", text().node(), func(p *profileDraft) *given[string] { return &p.description }),
		of("table", "holding registers (function 03) or input registers (04)", word("holding", "input").node(), func(p *profileDraft) *given[string] { return &p.table }).must("input"),
		of("address-base", "0 or 1: how the documents number registers", whole(0, 1).node(), func(p *profileDraft) *given[int] { return &p.addressBase }).must("1"),
		of("max-read", "registers that one request may ask for", whole(1, devices.MaxRegisters).node(), func(p *profileDraft) *given[int] { return &p.maxRead }),
		of("renew", "how often the device renews its values", lasting(time.Millisecond, time.Hour).node(), func(p *profileDraft) *given[time.Duration] { return &p.renew }),
		of("sensor-is", "what the sensor resistance stands for", oneOf[wiring.SensorIs](sensorMeanings()...).node(), func(p *profileDraft) *given[wiring.SensorIs] { return &p.sensorIs }),
		of("identity", "answers 43/14 read device identification", truth().node(), func(p *profileDraft) *given[bool] { return &p.identity }),
		of("accuracy", "limits of the data sheet, ±", mapping(accuracyKeys()...), func(p *profileDraft) *given[accuracyDraft] { return &p.accuracy }),
		of("blocks", "register runs that may be read in one request", listOf(mapping(blockKeys()...)), func(p *profileDraft) *given[[]given[blockDraft]] { return &p.blocks }),
		of("fields", "which register holds which quantity", listOf(mapping(fieldKeys()...)), func(p *profileDraft) *given[[]given[fieldDraft]] { return &p.fields }).must("[{quantity: a1, address: 1, type: float32, unit: Ohm}]"),
	}
}

func accuracyKeys() []key[accuracyDraft] {
	ohm := ohms(0, 100)
	return []key[accuracyDraft]{
		of("lead", "of each lead value", ohm.node(), func(a *accuracyDraft) *given[quantity.Ohm] { return &a.lead }),
		of("lead-resolution", "step of the lead values", ohm.node(), func(a *accuracyDraft) *given[quantity.Ohm] { return &a.leadResolution }),
		of("sensor", "of the sensor value", ohm.node(), func(a *accuracyDraft) *given[quantity.Ohm] { return &a.sensor }),
		of("sensor-resolution", "step of the sensor value", ohm.node(), func(a *accuracyDraft) *given[quantity.Ohm] { return &a.sensorResolution }),
		of("gain", "common gain error of the lead values", parts(0.5).node(), func(a *accuracyDraft) *given[float64] { return &a.gain }),
		of("offset", "common offset of the lead values", ohm.node(), func(a *accuracyDraft) *given[quantity.Ohm] { return &a.offset }),
		of("emf", "thermal EMF that may be present", volts(1).node(), func(a *accuracyDraft) *given[quantity.Volt] { return &a.emf }),
		of("current", "measuring current", amperes(1e-6, 0.1).node(), func(a *accuracyDraft) *given[quantity.Ampere] { return &a.current }),
		of("second-current", "current of the second sensor value; negative where it is reversed", amperes(-0.1, 0.1).node(), func(a *accuracyDraft) *given[quantity.Ampere] { return &a.current2 }),
		of("self-heating", "warming of the sensor by the measuring current", deltas(0, 50).node(), func(a *accuracyDraft) *given[quantity.DeltaC] { return &a.selfHeating }),
		of("instrument", "what else the device adds to the reading", deltas(0, 50).node(), func(a *accuracyDraft) *given[quantity.DeltaC] { return &a.instrument }),
	}
}

func blockKeys() []key[blockDraft] {
	return []key[blockDraft]{
		of("address", "number of the first register", whole(0, 65536).node(), func(b *blockDraft) *given[int] { return &b.address }).must("1"),
		of("count", "registers", whole(1, 65536).node(), func(b *blockDraft) *given[int] { return &b.count }).must("20"),
	}
}

func fieldKeys() []key[fieldDraft] {
	return []key[fieldDraft]{
		of("quantity", "what the register holds", quantities().node(), func(f *fieldDraft) *given[devices.Quantity] { return &f.quantity }).must("a1"),
		of("address", "number of the first register, from the loop's base", whole(0, 65536).node(), func(f *fieldDraft) *given[int] { return &f.address }).must("1"),
		of("type", "encoding", oneOf[devices.Type](devices.TypeNames()...).node(), func(f *fieldDraft) *given[devices.Type] { return &f.typ }).must("float32"),
		of("order", "byte order; A is the most significant byte", oneOf[devices.Order](devices.OrderNames()...).node(), func(f *fieldDraft) *given[devices.Order] { return &f.order }),
		of("scale", "value = raw · scale + offset", number(-1e9, 1e9).node(), func(f *fieldDraft) *given[float64] { return &f.scale }),
		of("offset", "value = raw · scale + offset, in the field's unit", number(-1e9, 1e9).node(), func(f *fieldDraft) *given[float64] { return &f.offset }),
		of("unit", "unit of the value; the usual one of the quantity if left out", word(devices.Units()...).node(), func(f *fieldDraft) *given[string] { return &f.unit }),
		of("resolution", "step of the value, in its unit", number(1e-12, 1e6).node(), func(f *fieldDraft) *given[float64] { return &f.resolution }),
		of("invalid", "raw patterns that mean no value, such as 0x8000", listOf(pattern()), func(f *fieldDraft) *given[[]given[uint64]] { return &f.invalid }),
		of("status", "what the bits of a status word mean", listOf(mapping(statusKeys()...)), func(f *fieldDraft) *given[[]given[statusDraft]] { return &f.status }),
	}
}

func statusKeys() []key[statusDraft] {
	return []key[statusDraft]{
		of("mask", "bits that count, such as 0x0001", pattern(), func(s *statusDraft) *given[uint64] { return &s.mask }).must("0x0001"),
		of("equals", "the masked value that means this; the mask itself if left out", pattern(), func(s *statusDraft) *given[uint64] { return &s.equals }),
		of("quality", "quality of the sample then", word(statusQualities()...).node(), func(s *statusDraft) *given[string] { return &s.quality }).must("device"),
		of("text", "what it means, for people", text().node(), func(s *statusDraft) *given[string] { return &s.text }).must("sensor break"),
	}
}

// quantities numbers names from one: the zero quantity has none.
func quantities() grammar[devices.Quantity] {
	g := oneOf[devices.Quantity](devices.QuantityNames()...)
	inner := g.parse
	g.parse = func(s string) (devices.Quantity, *fault) {
		q, f := inner(s)
		return q + 1, f
	}
	return g
}

var hexPattern = regexp.MustCompile(`^0x[0-9A-Fa-f]{1,16}$`)

// pattern is the bits of a register as a device sends them: hexadecimal, or a
// plain decimal number. Hexadecimal means the same in every version of YAML.
func pattern() node[uint64] {
	sch := schema{"oneOf": []schema{{"type": "string", "pattern": hexPattern.String()}, {"type": "integer", "minimum": 0}}}
	return node[uint64]{sch, func(r *reader, n *yaml.Node, path string) (uint64, bool) {
		s, ok := r.scalarText(n, path, either)
		if !ok {
			return 0, false
		}
		hex, isHex := strings.CutPrefix(s, "0x")
		var v uint64
		var err error
		switch {
		case isHex && hexPattern.MatchString(s):
			v, err = strconv.ParseUint(hex, 16, 64)
		case plainWhole.MatchString(s) && s[0] != '-' && n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) == 0:
			v, err = strconv.ParseUint(s, 10, 64)
		default:
			err = strconv.ErrSyntax
		}
		if err != nil {
			r.add(r.at(n), path, "write the bits as 0x8000, or as a decimal number without sign", "%q is not a bit pattern", clip(s))
			return 0, false
		}
		return v, true
	}}
}
