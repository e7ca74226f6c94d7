package config

import (
	"errors"
	"slices"
	"strings"

	"ohmdrift/devices"
	"ohmdrift/devices/profiles"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// statusQualities are the qualities that a status word can give a sample.
func statusQualities() []string {
	return []string{"good", "device", "invalid value", "out of range", "configuration"}
}

func qualityOf(word string) measure.Quality {
	for q := measure.Good; q <= measure.Skewed; q++ {
		if q.String() == word {
			return q
		}
	}
	return measure.Device
}

// loadProfiles reads the register maps of the site.
func (l *loader) loadProfiles(own []given[string]) {
	for _, f := range profiles.All() {
		l.names = append(l.names, builtInName(f))
	}
	for _, g := range own {
		if name, text, ok := l.named(g); ok {
			l.addProfile(l.parseProfile(name, text))
		} else {
			l.brokenProfiles = append(l.brokenProfiles, "")
		}
	}
}

// profile finds a register map. The built-in ones are read when they are asked
// for, by the code that reads a site's own: what is wrong with one is a mistake
// like any other.
func (l *loader) profile(name string) (*devices.Profile, bool) {
	if p, ok := l.profiles[name]; ok {
		return p, true
	}
	for _, f := range profiles.All() {
		if builtInName(f) != name {
			continue
		}
		p := l.parseProfile("built-in "+f.Name, f.Text).profile
		if p != nil {
			l.profiles[name] = p
		}
		return p, p != nil
	}
	return nil, false
}

// builtInName is the name of a built-in register map: that of its file.
func builtInName(f profiles.File) string { return strings.TrimSuffix(f.Name, ".yaml") }

// profileAt is a profile and where its name stands.
type profileAt struct {
	profile *devices.Profile
	name    given[string]
}

func (l *loader) addProfile(p profileAt) {
	if p.profile == nil {
		l.brokenProfiles = append(l.brokenProfiles, p.name.value)
		return
	}
	if slices.Contains(l.names, p.profile.Name) {
		l.add(p.name.at, p.name.path, "choose another name", "profile %q is defined already", p.profile.Name)
		return
	}
	l.profiles[p.profile.Name] = p.profile
	l.names = append(l.names, p.profile.Name)
}

// brokenProfile reports whether a name that is not defined may be that of a
// profile that could not be read.
func (l *loader) brokenProfile(name string) bool {
	return slices.Contains(l.brokenProfiles, name) || slices.Contains(l.brokenProfiles, "")
}

// ParseProfile reads one register map; file is the name shown in messages. The
// error is Mistakes.
func ParseProfile(file string, text []byte) (*devices.Profile, error) {
	l := newLoader(Options{})
	p := l.parseProfile(file, text)
	if err := l.result(); err != nil {
		return nil, err
	}
	return p.profile, nil
}

// parseProfile returns no profile when the file has a mistake.
func (l *loader) parseProfile(file string, text []byte) profileAt {
	before := len(l.mistakes)
	r := &reader{file, l.report}
	root := r.document(text)
	if root == nil {
		return profileAt{}
	}
	d, ok := mapping(profileKeys()...).read(r, root, "")
	if !ok || len(l.mistakes) > before {
		return profileAt{name: d.name}
	}
	p := r.profile(&d, r.at(root))
	if len(l.mistakes) > before {
		return profileAt{name: d.name}
	}
	return profileAt{p, d.name}
}

func (r *reader) profile(d *profileDraft, at Place) *devices.Profile {
	p := &devices.Profile{
		Name: d.name.value, Description: d.description.value, AddressBase: d.addressBase.value,
		MaxRead: d.maxRead.value, Renew: d.renew.value, SensorIs: d.sensorIs.value, Identity: d.identity.value,
		Accuracy: d.accuracy.value.limits(),
	}
	p.Table, _ = devices.ParseTable(d.table.value)
	for _, b := range d.blocks.value {
		addr := r.wire(b.value.address, p)
		p.Blocks = append(p.Blocks, devices.Block{Addr: addr, Count: uint16(min(b.value.count.value, 65535))})
	}
	said := map[string]bool{}
	for _, f := range d.fields.value {
		p.Fields = append(p.Fields, r.field(&f.value, p))
		r.checkField(f, p, said)
	}
	r.checkProfile(d, p, at, said)
	return p
}

func (r *reader) wire(number given[int], p *devices.Profile) uint16 {
	wire := number.value - p.AddressBase
	if wire < 0 || wire > 65535 {
		r.add(number.at, number.path, "check address-base", "register %d does not exist: this profile numbers them from %d", number.value, p.AddressBase)
		return 0
	}
	return uint16(wire)
}

func (r *reader) field(d *fieldDraft, p *devices.Profile) devices.Field {
	f := devices.Field{
		Quantity: d.quantity.value, Addr: r.wire(d.address, p), Type: d.typ.value, Order: d.order.value,
		Scale: d.scale.or(1), Offset: d.offset.value, Unit: d.unit.value, Resolution: d.resolution.value,
	}
	if d.scale.ok && d.scale.value == 0 {
		r.add(d.scale.at, d.scale.path, "leave it out where raw values need none", "a scale of zero makes every value the same")
	}
	for _, v := range d.invalid.value {
		f.Invalid = append(f.Invalid, v.value)
	}
	for _, g := range d.status.value {
		s := g.value
		if s.equals.ok && s.equals.value&^s.mask.value != 0 {
			r.add(s.equals.at, s.equals.path, "want bits of the mask only", "%#x has bits outside the mask %#x", s.equals.value, s.mask.value)
		}
		f.Status = append(f.Status, devices.StatusBit{
			Mask: s.mask.value, Equals: s.equals.or(s.mask.value), Quality: uint8(qualityOf(s.quality.value)), Text: s.text.value,
		})
	}
	return f
}

// checkField asks package devices about the last field alone, so that what it
// says stands at the field.
func (r *reader) checkField(g given[fieldDraft], p *devices.Profile, said map[string]bool) {
	f := p.Fields[len(p.Fields)-1]
	alone := devices.Profile{Name: p.Name, Table: p.Table, MaxRead: p.MaxRead, Blocks: p.Blocks, Fields: []devices.Field{f}}
	own := devices.Profile{Table: p.Table, Blocks: p.Blocks, MaxRead: p.MaxRead}
	general := lines(own.Validate())
	for _, problem := range lines(alone.Validate()) {
		if slices.Contains(general, problem) {
			continue
		}
		said[problem] = true
		r.add(g.at, g.path, "", "%s (%s)", problem, describe(p, &f))
	}
	for i := range p.Fields[:len(p.Fields)-1] {
		o := &p.Fields[i]
		if o.Quantity == f.Quantity && f.Quantity != devices.StatusWord && f.Quantity != devices.CycleCount {
			r.add(g.value.quantity.at, g.value.quantity.path, "keep one of them", "%s is already at register %s", f.Quantity, registerName(p, o.Addr))
		}
	}
}

// checkProfile reports what concerns the profile as a whole.
func (r *reader) checkProfile(d *profileDraft, p *devices.Profile, at Place, said map[string]bool) {
	for _, problem := range lines(p.Validate()) {
		if said[problem] {
			continue
		}
		where, path := at, ""
		if p.AddressBase != 0 {
			problem += " (wire addresses, counted from 0)"
		}
		if d.blocks.ok && strings.HasPrefix(problem, "block") {
			where, path = d.blocks.at, "blocks"
		}
		r.add(where, path, "", "%s", problem)
	}
	sensor, reading := false, false
	for i := range p.Fields {
		sensor = sensor || p.Fields[i].Quantity == devices.SensorOhm
		reading = reading || p.Fields[i].Quantity == devices.ReadingDegC
	}
	if !sensor && !reading && d.fields.ok {
		r.add(d.fields.at, "fields", "add the field sensor or reading", "neither the sensor's resistance nor the reading is in the map, so errors cannot be given in °C")
	}
}

func lines(err error) []string {
	if err == nil {
		return nil
	}
	var joined interface{ Unwrap() []error }
	if !errors.As(err, &joined) {
		return []string{err.Error()}
	}
	var out []string
	for _, e := range joined.Unwrap() {
		out = append(out, e.Error())
	}
	return out
}

func (a *accuracyDraft) limits() diagnostics.Accuracy {
	u := diagnostics.NoAccuracy()
	return diagnostics.Accuracy{
		Lead: a.lead.or(u.Lead), LeadResolution: a.leadResolution.or(u.LeadResolution),
		Sensor: a.sensor.or(u.Sensor), SensorRes: a.sensorResolution.or(u.SensorRes),
		Gain: a.gain.or(u.Gain), Offset: a.offset.or(u.Offset), EMF: a.emf.or(u.EMF),
		Current: a.current.or(u.Current), Current2: a.current2.or(u.Current2),
		SelfHeating: a.selfHeating.or(u.SelfHeating), Instrument: a.instrument.or(u.Instrument),
	}
}
