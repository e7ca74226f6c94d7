package daemon

import (
	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/history"
	"ohmdrift/daemon/poll"
	"ohmdrift/devices"
)

// PollPlan says what of a plant is to be polled; loop numbers are those of the
// plant.
func PollPlan(p *config.Plant) poll.Plan {
	plan := poll.Plan{Links: make([]devices.LinkConfig, len(p.Links)), Loops: make([]poll.Loop, len(p.Loops))}
	for i := range p.Links {
		plan.Links[i] = linkConfig(&p.Links[i])
	}
	wired := map[wiredKey]*devices.Profile{} // loops that use a profile alike share it
	for i := range p.Loops {
		l := &p.Loops[i]
		plan.Loops[i] = poll.Loop{
			Tag: l.Tag, Link: l.Link, Unit: l.Unit, Profile: wiredProfile(l, wired), Base: l.Base,
			Interval: l.Interval, Sensor: l.Sensor,
		}
	}
	return plan
}

type wiredKey struct {
	profile *devices.Profile
	wires   int
}

func wiredProfile(l *config.Loop, cache map[wiredKey]*devices.Profile) *devices.Profile {
	if l.Profile == nil {
		return nil
	}
	key := wiredKey{l.Profile, l.Wires}
	if _, ok := cache[key]; !ok {
		cache[key] = l.Profile.Wired(l.Wires)
	}
	return cache[key]
}

func linkConfig(l *config.Link) devices.LinkConfig {
	c := devices.LinkConfig{
		Name: l.Name, URL: l.URL, Baud: l.Baud, DataBits: l.DataBits, Parity: l.Parity, StopBits: l.StopBits,
		Timeout: l.Timeout, Pause: l.Pause, AfterDial: l.AfterDial, SoleMaster: l.SoleMaster,
		MaxRequests: l.MaxRequests, Second: l.Second,
	}
	for _, w := range l.Quiet {
		c.Quiet = append(c.Quiet, devices.QuietWindow{From: w.From, To: w.To})
	}
	if l.TLS != nil {
		c.TLS = &devices.TLSFiles{CertFile: l.TLS.CertFile, KeyFile: l.TLS.KeyFile, CAFile: l.TLS.CAFile}
	}
	return c
}

func forwardOptions(i *config.Influx, log zerolog.Logger) forward.Options {
	return forward.Options{URL: i.URL, Org: i.Org, Bucket: i.Bucket, Token: i.Token, Batch: i.Batch, Log: log}
}

func historyLoops(p *config.Plant) []history.Loop {
	loops := make([]history.Loop, len(p.Loops))
	for i := range p.Loops {
		loops[i].Tag = p.Loops[i].Tag
		if p.Loops[i].Profile != nil {
			loops[i].Resolution = history.ResolutionOf(p.Loops[i].Profile)
		}
	}
	return loops
}
