package daemon

import (
	"ohmdrift/config"
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
	for i := range p.Loops {
		l := &p.Loops[i]
		plan.Loops[i] = poll.Loop{
			Tag: l.Tag, Link: l.Link, Unit: l.Unit, Profile: l.Profile, Base: l.Base,
			Interval: l.Interval, Sensor: l.Sensor,
		}
	}
	return plan
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
