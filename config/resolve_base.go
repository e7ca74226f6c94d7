package config

import (
	"fmt"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/wiring"
)

// profile finds the register map of a loop and takes over the data sheet.
func (r *loopResolver) profile(g *given[loopDraft], l *Loop) {
	d := &g.value
	if !d.profile.ok {
		if r.polled && d.profile.absent() {
			r.add(g.at, g.path, meant("", r.profileNames), "no profile: which register holds what is not known")
		}
		l.SensorIs = d.sensorIs.or(wiring.AfterMethod)
		return
	}
	p, ok := r.profileNamed(d.profile.value)
	if !ok {
		if r.polled && !r.broken(d.profile.value) { // an index for recorded data may name maps that are not at hand
			r.add(d.profile.at, d.profile.path, meant(d.profile.value, r.profileNames), "profile %q is not defined", d.profile.value)
		}
		l.SensorIs = d.sensorIs.or(wiring.AfterMethod)
		return
	}
	l.Profile, l.Accuracy = p, p.Accuracy
	l.SensorIs = d.sensorIs.or(p.SensorIs)
}

// registerName shows a register as the documents number it and as the wire
// does, where the two differ.
func registerName(p *devices.Profile, wire uint16) string {
	if p.AddressBase == 0 {
		return fmt.Sprintf("%d", wire)
	}
	return fmt.Sprintf("%d (wire address %d)", int(wire)+p.AddressBase, wire)
}

// base turns the number of the first register into a wire address and checks
// that the whole profile fits behind it.
func (r *loopResolver) base(g *given[loopDraft], l *Loop) {
	p, b := l.Profile, g.value.base
	if b.bad {
		return // reported already
	}
	wire := b.or(p.AddressBase) - p.AddressBase
	if wire < 0 || wire > 65535 {
		r.add(b.at, b.path, fmt.Sprintf("want %d to %d", p.AddressBase, 65535+p.AddressBase),
			"register %d does not exist: profile %s numbers them from %d", b.value, p.Name, p.AddressBase)
		return
	}
	l.Base = uint16(wire)
	r.modelNumber(b, p)
	if last := wire + lastRegister(p); last > 65535 {
		at, path := b.at, b.path
		if !b.ok {
			at, path = g.at, g.path
		}
		r.add(at, path, fmt.Sprintf("want at most %d", 65535-lastRegister(p)+p.AddressBase),
			"base register %s: the last register of profile %s would be at wire address %d, beyond 65535", registerName(p, l.Base), p.Name, last)
	}
}

// modelNumber warns of numbers such as 40101, which mean register 101 of the
// holding table in many documents.
func (r *loopResolver) modelNumber(b given[int], p *devices.Profile) {
	first := map[devices.Table]int{devices.Holding: 40001, devices.Input: 30001}[p.Table]
	if b.ok && b.value >= first && b.value <= first+9998 {
		n := b.value - first
		r.warn(b.at, b.path, fmt.Sprintf("if so, write base: %d", n+p.AddressBase),
			"base %d is read as register %s; documents that number registers so mean wire address %d", b.value, registerName(p, uint16(b.value-p.AddressBase)), n)
	}
}

// lastRegister returns the wire address of the last register that a profile
// reads, relative to the base.
func lastRegister(p *devices.Profile) int {
	last := 0
	for _, q := range p.Plan() {
		last = max(last, int(q.Addr)+int(q.Count)-1)
	}
	return last
}
