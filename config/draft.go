package config

import (
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// The drafts hold what the files say, each value with its place, before
// defaults are filled in and the parts are checked against each other.

type plantDraft struct {
	site      given[string]
	links     given[[]given[linkDraft]]
	profiles  given[[]given[string]]
	sensors   given[[]given[sensorDraft]]
	defaults  given[loopDraft]
	loops     given[[]given[loopDraft]]
	index     given[tableDraft]
	terminals given[tableDraft]
	store     given[storeDraft]
	influx    given[influxDraft]
	alerts    given[alertsDraft]
	web       given[webDraft]
}

type linkDraft struct {
	name, url          given[string]
	baud               given[int]
	dataBits, stopBits given[int]
	parity             given[string]
	timeout, pause     given[time.Duration]
	afterDial          given[time.Duration]
	turnaround         given[time.Duration]
	soleMaster         given[bool]
	shared             given[sharedDraft]
	second             given[string]
	tls                given[tlsDraft]
}

type sharedDraft struct {
	maxRequests given[float64]
	quiet       given[[]given[Window]]
}

type tlsDraft struct{ cert, key, ca given[string] }

// loopDraft is a loop inline, a row of the index, or the defaults of both.
type loopDraft struct {
	tag, site, area, box, cabinet, cable given[string]
	balance, partner, role, service      given[string]
	outdoor                              given[bool]
	wires                                given[int]
	method                               given[wiring.Method]
	offset                               given[quantity.Ohm]
	reports                              given[wiring.Reports]
	sensorIs                             given[wiring.SensorIs]
	sensor                               given[string]
	class                                given[rtd.Class]
	limit, limitHigh, limitLow           given[quantity.DeltaC]
	leadLimit                            given[quantity.Ohm]
	rule                                 given[diagnostics.DecisionRule]
	calibrated                           given[diagnostics.Calibrated]
	cableLength                          given[quantity.Metre]
	conductor                            given[copper.Conductor]
	construction                         given[rtd.Construction]
	spread                               given[float64]
	link, profile                        given[string]
	unit, base                           given[int]
	interval                             given[time.Duration]
}

// sensorDraft is a sensor curve of the user's own.
type sensorDraft struct {
	name      given[string]
	r0        given[quantity.Ohm]
	a, b, c   given[float64]
	low, high given[quantity.DegC]
}

// tableDraft names a CSV file and what its columns are called here.
type tableDraft struct {
	file    given[string]
	columns given[map[string]given[string]]
}

type storeDraft struct {
	dir       given[string]
	retention given[time.Duration]
}

// secretDraft says where a secret is kept; it is never in the file itself.
type secretDraft struct{ env, file given[string] }

type influxDraft struct {
	url, org, bucket given[string]
	token            secretDraft
	batch            given[int]
}

type alertsDraft struct{ webhook given[webhookDraft] }

type webhookDraft struct {
	url     given[string]
	token   secretDraft
	timeout given[time.Duration]
}

type webDraft struct{ listen given[string] }

// inherit takes over what the defaults give and the loop does not.
func (l *loopDraft) inherit(d *loopDraft) {
	for _, p := range [...]struct{ own, from *given[string] }{
		{&l.site, &d.site},
		{&l.area, &d.area},
		{&l.box, &d.box},
		{&l.cabinet, &d.cabinet},
		{&l.cable, &d.cable},
		{&l.balance, &d.balance},
		{&l.role, &d.role},
		{&l.service, &d.service},
		{&l.sensor, &d.sensor},
		{&l.link, &d.link},
		{&l.profile, &d.profile},
	} {
		p.own.inherit(*p.from)
	}
	l.outdoor.inherit(d.outdoor)
	l.inheritWiring(d)
	l.sensorIs.inherit(d.sensorIs)
	l.class.inherit(d.class)
	l.limit.inherit(d.limit)
	l.limitHigh.inherit(d.limitHigh)
	l.limitLow.inherit(d.limitLow)
	l.leadLimit.inherit(d.leadLimit)
	l.rule.inherit(d.rule)
	l.calibrated.inherit(d.calibrated)
	l.cableLength.inherit(d.cableLength)
	l.conductor.inherit(d.conductor)
	l.construction.inherit(d.construction)
	l.spread.inherit(d.spread)
	l.unit.inherit(d.unit)
	l.interval.inherit(d.interval)
}

// complete reports whether everything that was written of the sensor and its
// wiring could be read.
func (l *loopDraft) complete() bool {
	return !l.tag.bad && !l.wires.bad && !l.method.bad && !l.offset.bad && !l.reports.bad && !l.sensor.bad &&
		!l.limit.bad && !l.limitHigh.bad && !l.limitLow.bad && !l.spread.bad
}

// inheritWiring keeps what belongs together together: a loop that states its
// own wires or method does not take the other one, or the offset, from the
// defaults.
func (l *loopDraft) inheritWiring(d *loopDraft) {
	if l.wires.absent() && l.method.absent() {
		l.wires, l.method = d.wires, d.method
		l.offset.inherit(d.offset)
		l.reports.inherit(d.reports)
		return
	}
	if l.method.ok && d.method.ok && l.method.value == d.method.value {
		l.offset.inherit(d.offset)
		l.reports.inherit(d.reports)
	}
}
