package config

import (
	"errors"
	"math"
	"slices"
	"strings"

	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// loopResolver turns drafts of loops into loops.
type loopResolver struct {
	*report
	links        []Link
	linkIndex    map[string]int
	profileNamed func(string) (*devices.Profile, bool)
	profileNames []string
	sensors      map[string]rtd.Sensor
	linksNamed   bool                      // every link has a name that could be read
	broken       func(profile string) bool // it could not be read, which is reported already
	polled       bool                      // each loop needs a link; false: an index for recorded data
}

func (r *loopResolver) loops(drafts []given[loopDraft]) []Loop {
	out := make([]Loop, 0, len(drafts))
	tags, where := map[string]Place{}, map[address]Place{}
	for i := range drafts {
		g, before := &drafts[i], len(r.mistakes)
		if g.value.tag.ok {
			r.uniqueTag(tags, g.value.tag)
		}
		loop := r.loop(g)
		if r.polled && loop.Link >= 0 && loop.Profile != nil && g.value.unit.ok {
			r.uniqueAddress(where, g, &loop)
		}
		if len(r.mistakes) == before {
			r.checkSpec(g, &loop)
		}
		out = append(out, loop)
	}
	r.partners(drafts, tags)
	return out
}

// checkSpec asks package diagnostics whether it can follow the loop: what it
// refuses must not wait until the daemon starts.
func (r *loopResolver) checkSpec(g *given[loopDraft], l *Loop) {
	if !g.value.complete() {
		return // a part could not be read, which is reported already
	}
	if _, err := diagnostics.NewLoop(l.Spec); err != nil {
		f := faultOf(errors.New(strings.TrimPrefix(err.Error(), l.Tag+": ")))
		r.fault(g.at, g.path, f)
	}
}

func (r *loopResolver) uniqueTag(tags map[string]Place, tag given[string]) {
	if first, twice := tags[tag.value]; twice {
		r.add(tag.at, tag.path, "give each loop a tag of its own", "tag %q is already at %s", tag.value, first)
		return
	}
	tags[tag.value] = tag.at
}

// address is where a loop is read; two profiles may share registers.
type address struct {
	link    int
	unit    uint8
	profile string
	base    uint16
}

func (r *loopResolver) uniqueAddress(where map[address]Place, g *given[loopDraft], l *Loop) {
	a := address{l.Link, l.Unit, l.Profile.Name, l.Base}
	if first, twice := where[a]; twice {
		v := g.value.base
		if !v.ok {
			v.at, v.path = g.value.unit.at, g.value.unit.path
		}
		r.add(v.at, v.path, "check unit and base", "%s reads the same registers as the loop at %s: link %s, unit %d, profile %s, base %s",
			l.Tag, first, r.links[l.Link].Name, l.Unit, l.Profile.Name, registerName(l.Profile, l.Base))
		return
	}
	where[a] = g.at
}

func (r *loopResolver) partners(drafts []given[loopDraft], tags map[string]Place) {
	var names []string
	for i := range drafts {
		p, own := drafts[i].value.partner, drafts[i].value.tag.value
		if !p.ok {
			continue
		}
		if _, known := tags[p.value]; known && p.value != own {
			continue
		}
		if names == nil {
			for t := range tags {
				names = append(names, t)
			}
			slices.Sort(names)
		}
		hint := "want the tag of a loop at the same place"
		if n := nearest(p.value, names); n != "" && n != own {
			hint = "did you mean " + n + "?"
		}
		r.add(p.at, p.path, hint, "partner %q is not another loop of this plant", p.value)
	}
}

// loop resolves one draft.
func (r *loopResolver) loop(g *given[loopDraft]) Loop {
	d := &g.value
	l := Loop{Link: -1, Place: g.at, Interval: d.interval.or(DefaultInterval)}
	l.describe(d)
	r.sensor(g, &l)
	r.profile(g, &l)
	r.wiring(g, &l)
	r.reports(g, &l)
	r.limits(g, &l)
	r.cable(g, &l)
	if r.polled {
		r.where(g, &l)
	}
	return l
}

// describe takes over what needs no check against anything else.
func (l *Loop) describe(d *loopDraft) {
	l.Spec = diagnostics.NewSpec(d.tag.value)
	s := &l.Spec
	s.Site, s.Area, s.Box, s.Cabinet, s.Cable = d.site.value, d.area.value, d.box.value, d.cabinet.value, d.cable.value
	s.Role, s.Service, s.Partner, s.Outdoor, s.Balance = d.role.value, d.service.value, d.partner.value, d.outdoor.value, d.balance.value
	s.Class, s.Construction, s.Rule, s.Calibrated = d.class.value, d.construction.value, d.rule.value, d.calibrated.value
	s.LeadLimit, s.Spread, s.Interval = d.leadLimit.or(s.LeadLimit), d.spread.or(s.Spread), l.Interval
}

func (r *loopResolver) sensor(g *given[loopDraft], l *Loop) {
	d := &g.value
	name := d.sensor.or(defaultSensor)
	if own, ok := r.sensors[name]; ok {
		l.Sensor = own
		return
	}
	s, err := rtd.ParseSensor(name)
	if err != nil {
		r.fault(d.sensor.at, d.sensor.path, faultOf(err))
		return
	}
	l.Sensor = s
}

// wiring settles wires, method and fixed compensation.
func (r *loopResolver) wiring(g *given[loopDraft], l *Loop) {
	d := &g.value
	switch {
	case d.method.ok:
		l.Method = d.method.value
		l.Wires = l.Method.Wires()
		r.methodWires(g, l)
	case d.method.bad || d.wires.bad: // reported already
	case d.wires.absent():
		r.add(g.at, g.path, `write "wires: 4", or the method`, "neither wires nor method is given")
	default:
		l.Wires = d.wires.value
		r.methodOf(g, l)
	}
	switch {
	case d.offset.bad: // reported already
	case l.Method == wiring.TwoWireFixed && d.offset.absent():
		r.add(d.method.at, d.method.path, "state the fixed compensation, or write two-wire", "two-wire-fixed without its offset")
	case l.Method == wiring.TwoWireFixed:
		l.Fixed = d.offset.value
	case d.offset.ok && d.offset.value != 0:
		r.add(d.offset.at, d.offset.path, "leave it out, or write the method two-wire-fixed", "method %s has no fixed compensation", l.Method)
	}
	if l.Wires == 2 && (l.Class == rtd.ClassA || l.Class == rtd.ClassAA) {
		r.warn(d.class.at, d.class.path, "its leads alone exceed the class; see IEC 60751 clause 5.4", "%s on a two-wire connection", l.Class)
	}
}

func (r *loopResolver) methodWires(g *given[loopDraft], l *Loop) {
	d := &g.value
	switch {
	case d.wires.bad: // reported already
	case l.Method == wiring.DeviceCorrected && d.wires.absent():
		r.add(d.method.at, d.method.path, `write "wires: 3" or "wires: 4"`, "device-corrected leaves the number of wires open")
	case l.Method == wiring.DeviceCorrected && d.wires.value == 2:
		r.add(d.wires.at, d.wires.path, "want 3 or 4", "a device cannot measure the leads of two wires")
	case l.Method == wiring.DeviceCorrected:
		l.Wires = d.wires.value
	case d.wires.ok && d.wires.value != l.Wires:
		r.add(d.method.at, d.method.path, "check which of the two is right; a four-wire sensor with one lead unused counts as three-wire", "method %s needs %d wires, but wires is %d", l.Method, l.Wires, d.wires.value)
	}
}

// methodOf is the method where only the wires are known. Two and four wires
// have one usual answer; with three the sign of the error depends on it.
func (r *loopResolver) methodOf(g *given[loopDraft], l *Loop) {
	d := &g.value
	switch {
	case l.Wires == 4:
		l.Method = wiring.FourWire
	case l.Wires == 2 && d.offset.value > 0:
		l.Method = wiring.TwoWireFixed
	case l.Wires == 2:
		l.Method = wiring.TwoWire
	case l.Wires == 3:
		r.add(d.wires.at, d.wires.path, "want three-wire-loop, three-wire-dual, three-wire-half or device-corrected; the data sheet of the input says which",
			"three wires without the method: the sign of the error depends on it")
	}
}

// limits settles the error limits by side and the lead limit.
func (r *loopResolver) limits(g *given[loopDraft], l *Loop) {
	d := &g.value
	nan := quantity.DeltaC(math.NaN())
	l.LimitHigh, l.LimitLow = nan, nan
	if d.limit.ok {
		l.LimitHigh, l.LimitLow = d.limit.value, -d.limit.value
	}
	if d.limitHigh.ok {
		l.LimitHigh = d.limitHigh.value
	}
	if d.limitLow.ok {
		l.LimitLow = -quantity.DeltaC(math.Abs(float64(d.limitLow.value)))
		if l.LimitLow == 0 {
			r.add(d.limitLow.at, d.limitLow.path, "leave it out where errors downwards do not matter", "a limit of zero is always passed")
		}
	}
	if d.leadLimit.ok && l.Reports == wiring.ReadingOnly {
		r.add(d.leadLimit.at, d.leadLimit.path, "leave it out, or check reports", "the transmitter reports no leads, so a lead limit cannot be watched")
	}
}

// roundTerminal is what a sound terminal point adds to a lead: a few mΩ at most
// by the voltage-drop test of IEC 60947-7-1; 1 mΩ is common practice.
const soundTerminal quantity.Ohm = 0.001

// cable works out the expected resistance of one lead; terminals are added when
// the terminal run is known.
func (r *loopResolver) cable(g *given[loopDraft], l *Loop) {
	d := &g.value
	if d.cableLength.ok {
		l.CableM = d.cableLength.value
	}
	if d.conductor.ok {
		l.Conductor = d.conductor.value
	}
	if d.cableLength.ok && d.conductor.ok {
		l.Cable20 = d.conductor.value.ResistanceAt(d.cableLength.value, 20)
	}
}

// where settles link, unit and base register.
func (r *loopResolver) where(g *given[loopDraft], l *Loop) {
	d := &g.value
	i, ok := r.linkIndex[d.link.value]
	switch {
	case d.link.bad: // reported already
	case d.link.absent():
		r.add(g.at, g.path, "write the name of a link", "no link: nothing would be read")
	case ok:
		l.Link = i
	case !r.linksNamed: // it may be the one whose name could not be read
	default:
		names := make([]string, len(r.links))
		for i := range r.links {
			names[i] = r.links[i].Name
		}
		r.add(d.link.at, d.link.path, meant(d.link.value, names), "link %q is not defined", d.link.value)
	}
	r.unit(g, l)
	if l.Profile == nil {
		return
	}
	r.base(g, l)
	if l.Profile.Renew > l.Interval && d.interval.ok {
		r.warn(d.interval.at, d.interval.path, "values repeat between renewals", "interval %s is shorter than the %s after which the device renews its values", since(l.Interval), since(l.Profile.Renew))
	}
}

func (r *loopResolver) unit(g *given[loopDraft], l *Loop) {
	d := &g.value
	if d.unit.bad {
		return // reported already
	}
	if d.unit.absent() {
		r.add(g.at, g.path, `write "unit: 1"; a device without a serial side usually answers to 255`, "no unit")
		return
	}
	l.Unit = uint8(d.unit.value)
	if l.Link < 0 {
		return
	}
	t, _, err := devices.ParseURL(r.links[l.Link].URL)
	if err == nil && t.Ambiguous() && (l.Unit == 0 || l.Unit > 247) {
		r.add(d.unit.at, d.unit.path, "want 1 to 247 on a serial line", "unit %d: 0 is broadcast, 248 to 255 are reserved", l.Unit)
	}
}
