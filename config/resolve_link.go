package config

import (
	"fmt"

	"ohmdrift/devices"
)

func indexLinks(links []Link) map[string]int {
	m := make(map[string]int, len(links))
	for i := range links {
		m[links[i].Name] = i
	}
	return m
}

func (l *loader) links(list []given[linkDraft]) []Link {
	names, urls := map[string]Place{}, map[string]Place{}
	out := make([]Link, 0, len(list))
	for _, g := range list {
		d := g.value
		if d.name.ok {
			l.unique(names, d.name, "link")
		}
		for _, u := range [...]given[string]{d.url, d.second} {
			if u.ok {
				t, addr, _ := devices.ParseURL(u.value)
				l.uniqueEndpoint(urls, fmt.Sprint(t, addr), u)
			}
		}
		out = append(out, l.link(g))
	}
	return out
}

func (l *loader) unique(seen map[string]Place, v given[string], what string) {
	if first, twice := seen[v.value]; twice {
		l.add(v.at, v.path, "give each a name of its own", "%s %q is already at %s", what, v.value, first)
		return
	}
	seen[v.value] = v.at
}

func (l *loader) uniqueEndpoint(seen map[string]Place, end string, v given[string]) {
	if first, twice := seen[end]; twice {
		l.add(v.at, v.path, "put all units of one endpoint behind one link", "%s is already used at %s", v.value, first)
		return
	}
	seen[end] = v.at
}

func (l *loader) link(g given[linkDraft]) Link {
	d := g.value
	link := Link{
		Name: d.name.value, URL: d.url.value, Second: d.second.value,
		Baud: d.baud.value, DataBits: d.dataBits.value, Parity: d.parity.value, StopBits: d.stopBits.value,
		Timeout: d.timeout.or(devices.DefaultTimeout), Pause: d.pause.value, AfterDial: d.afterDial.value,
		Turnaround: d.turnaround.value, SoleMaster: d.soleMaster.value, MaxRequests: d.shared.value.maxRequests.value,
	}
	for _, w := range d.shared.value.quiet.value {
		link.Quiet = append(link.Quiet, w.value)
	}
	t, _, err := devices.ParseURL(d.url.value)
	if err != nil {
		return link // reported already
	}
	l.checkMaster(g, t)
	l.checkSerial(d, t)
	l.linkTLS(&link, g, t)
	if t == devices.RTU || t == devices.RTUOverTCP {
		link.serialDefaults()
	}
	if !d.turnaround.ok {
		link.Turnaround = usualTurnaround(t)
	}
	return link
}

// serialDefaults are those of the Modbus serial line specification: 19200 baud,
// 8 data bits, even parity, one stop bit; two without parity.
func (k *Link) serialDefaults() {
	c := devices.LinkConfig{Baud: k.Baud, DataBits: k.DataBits, Parity: k.Parity, StopBits: k.StopBits}.WithDefaults()
	k.Baud, k.DataBits, k.Parity, k.StopBits = c.Baud, c.DataBits, c.Parity, c.StopBits
}

func (l *loader) checkMaster(g given[linkDraft], t devices.Transport) {
	d := g.value
	sole := d.soleMaster.ok && d.soleMaster.value
	switch {
	case sole && d.shared.ok:
		l.add(d.shared.at, d.shared.path, "keep one of them", "the link is both sole-master and shared")
	case t == devices.RTU && !sole:
		l.add(g.at, g.path+".sole-master", `write "sole-master: true" if nothing else asks on this line; otherwise read it through its master or a gateway`,
			"a serial line can have one master only")
	case !sole && d.soleMaster.ok && !d.shared.ok:
		l.warn(d.soleMaster.at, d.soleMaster.path, `state a ceiling under "shared", as in "shared: {max-requests: 5}"`, "the link has another master and no ceiling of requests")
	}
}

// checkSerial refuses settings of a serial line where there is none.
func (l *loader) checkSerial(d linkDraft, t devices.Transport) {
	if t == devices.RTU || t == devices.RTUOverTCP {
		if d.dataBits.ok && d.dataBits.value != 8 {
			l.add(d.dataBits.at, d.dataBits.path, "leave it out", "Modbus RTU needs 8 data bits")
		}
		return
	}
	for _, v := range [...]struct {
		ok   bool
		at   Place
		path string
	}{
		{d.dataBits.ok, d.dataBits.at, d.dataBits.path},
		{d.stopBits.ok, d.stopBits.at, d.stopBits.path},
		{d.parity.ok, d.parity.at, d.parity.path},
	} {
		if v.ok {
			l.add(v.at, v.path, "leave it out; a gateway has its own settings", "a %s link has no serial line", t)
		}
	}
}

func (l *loader) linkTLS(link *Link, g given[linkDraft], t devices.Transport) {
	d := g.value
	switch {
	case t == devices.TLS && !d.tls.ok:
		l.add(g.at, g.path+".tls", `write "tls: {cert_file: …, key_file: …, ca_file: …}"`, "a tcp+tls link needs certificates")
	case t != devices.TLS && d.tls.ok:
		l.add(d.tls.at, d.tls.path, "leave it out, or write the URL as tcp+tls://", "a %s link has no certificates", t)
	case d.tls.ok:
		c := d.tls.value
		link.TLS = &TLS{CertFile: l.beside(c.cert.value), KeyFile: l.beside(c.key.value), CAFile: l.beside(c.ca.value)}
		for _, f := range [...]given[string]{c.cert, c.key, c.ca} {
			if f.ok && !l.SkipSecrets {
				l.present(f)
			}
		}
	}
	if d.second.ok && d.url.ok {
		if second, _, err := devices.ParseURL(d.second.value); err == nil && second != t {
			l.add(d.second.at, d.second.path, "both ways to one line must be of one kind", "%s, but url is %s", second, t)
		}
	}
}

func (l *loader) present(f given[string]) {
	name := l.beside(f.value)
	if _, err := l.readFile(name); err != nil {
		l.add(f.at, f.path, "file names are relative to the plant file", "%s", reason(err, name))
	}
}
