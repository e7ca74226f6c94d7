package config

import (
	"slices"
	"strings"
	"time"

	"ohmdrift/diagnostics/rtd"
)

// Defaults of a plant file.
const (
	DefaultInterval  = 10 * time.Second
	DefaultBatch     = 5000 // points a call, as the client library suggests
	DefaultRetention = 2 * 365 * 24 * time.Hour
	DefaultStore     = "data"
	defaultSensor    = "Pt100"
	defaultTimeout   = 10 * time.Second // of a webhook
)

// resolve joins the parts of a plant and checks them against each other. What
// it returns is complete only when no mistake was reported.
func (l *loader) resolve(file string, d *plantDraft) *Plant {
	p := &Plant{Site: d.site.value}
	l.loadProfiles(d.profiles.value)
	sensors := l.sensors(d.sensors.value)
	p.Links = l.links(d.links.value)
	loops := l.loopDrafts(d)
	if len(loops) == 0 && d.loops.absent() && d.index.absent() {
		l.add(Place{file, 1, 1}, "loops", `write them under "loops", or name an instrument index under "index"`, "the plant has no loops")
	}
	res := &loopResolver{
		report: l.report, links: p.Links, linkIndex: indexLinks(p.Links),
		profileNamed: l.profile, profileNames: l.names, broken: l.brokenProfile, sensors: sensors, polled: true,
		linksNamed: !d.links.bad && !slices.ContainsFunc(d.links.value, func(k given[linkDraft]) bool { return !k.value.name.ok }),
	}
	p.Loops = res.loops(loops)
	l.terminals(d.terminals, p.Loops)
	if len(l.mistakes) == 0 { // the load of half a plant says nothing
		l.checkLoad(p, d.links.value)
	}
	l.services(p, d)
	return p
}

// loopDrafts returns the loops of the file, then those of its index, with the
// defaults filled in.
func (l *loader) loopDrafts(d *plantDraft) []given[loopDraft] {
	loops := d.loops.value
	if t := d.index.value; t.file.ok {
		if name, text, ok := l.named(t.file); ok {
			loops = append(slices.Clip(loops), l.indexRows(name, text, t.columns)...)
		}
	}
	for i := range loops {
		if d.site.ok {
			loops[i].value.site.inherit(d.site)
		}
		loops[i].value.inherit(&d.defaults.value)
	}
	return loops
}

func (l *loader) sensors(list []given[sensorDraft]) map[string]rtd.Sensor {
	own := map[string]rtd.Sensor{} // a zero sensor is one that could not be read
	for _, g := range list {
		s := g.value
		if !s.name.ok || !s.r0.ok || !s.a.ok || !s.b.ok || !s.low.ok || !s.high.ok {
			own[s.name.value] = rtd.Sensor{}
			continue // reported already
		}
		if _, err := rtd.ParseSensor(s.name.value); err == nil {
			l.add(s.name.at, s.name.path, "choose another name", "%q is the name of a standard sensor", s.name.value)
			continue
		}
		if _, twice := own[s.name.value]; twice {
			l.add(s.name.at, s.name.path, "choose another name", "sensor %q is defined twice", s.name.value)
			continue
		}
		curve, err := rtd.NewCVD(s.name.value, rtd.CVD{R0: s.r0.value, A: s.a.value, B: s.b.value, C: s.c.value, Low: s.low.value, High: s.high.value})
		if err != nil {
			l.fault(g.at, g.path, faultOf(err))
		}
		own[s.name.value] = curve
	}
	return own
}

// services fills in store, influx, alerts and web.
func (l *loader) services(p *Plant, d *plantDraft) {
	s := d.store.value
	p.Store = Store{Dir: s.dir.or(DefaultStore), Retention: s.retention.or(DefaultRetention)}
	if l.FS == nil {
		p.Store.Dir = l.beside(p.Store.Dir)
	}
	if i := d.influx.value; d.influx.ok {
		p.Influx = &Influx{URL: i.url.value, Org: i.org.value, Bucket: i.bucket.value, Batch: i.batch.or(DefaultBatch), Token: l.secret(i.token)}
	}
	if w := d.alerts.value.webhook; w.ok {
		p.Alerts.Webhook = &Webhook{URL: w.value.url.value, Timeout: w.value.timeout.or(defaultTimeout), Token: l.secret(w.value.token)}
	}
	p.Web.Listen = d.web.value.listen.value
}

// secret reads a token from where it is kept.
func (l *loader) secret(s secretDraft) string {
	switch {
	case s.env.ok && s.file.ok:
		l.add(s.file.at, s.file.path, "keep one of them", "token_env is given as well")
	case l.SkipSecrets:
	case s.env.ok:
		v, _ := l.Env(s.env.value)
		if strings.TrimSpace(v) == "" {
			l.add(s.env.at, s.env.path, "set it where ohmdrift is started", "environment variable %s is not set", s.env.value)
		}
		return strings.TrimSpace(v)
	case s.file.ok:
		name := l.beside(s.file.value)
		text, err := l.readFile(name) // not in Files and not in the hash, on purpose
		if err != nil {
			l.add(s.file.at, s.file.path, "file names are relative to the plant file", "%s", reason(err, name))
		} else if strings.TrimSpace(string(text)) == "" {
			l.add(s.file.at, s.file.path, "write the token into it", "file %s is empty", name)
		}
		return strings.TrimSpace(string(text))
	}
	return ""
}
