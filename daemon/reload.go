package daemon

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
)

// Reload takes over a changed plant while polling goes on: loops and links that
// did not change keep their state. What cannot be changed while running (data
// folder, page address) is refused with what to do; then the old plant stays.
func (d *Daemon) Reload(ctx context.Context, p *config.Plant) error {
	d.reload.Lock()
	defer d.reload.Unlock()
	before := d.current()
	if err := needsRestart(before.plant, p); err != nil {
		return err
	}
	next, err := d.newGeneration(p, before)
	if err != nil {
		return err
	}
	if err := d.baselines(ctx, next); err != nil {
		return err
	}
	d.history.SetLoops(historyLoops(p))
	d.swap.Lock()
	d.running.Store(next)
	d.swap.Unlock()
	if err := d.poller.Reload(PollPlan(p), next); err != nil {
		d.running.Store(before)
		d.history.SetLoops(historyLoops(before.plant))
		return fmt.Errorf("the old plant keeps running: %w", err)
	}
	d.cabling(next)
	d.notify.Configure(p.Alerts)
	d.records.SetSinks(d.notify.Sinks()...)
	diff := difference(before, next)
	d.log.Info().Str("config_hash", p.Hash).Str("diff", diff).Msg("plant reloaded")
	return d.records.Audit(ctx, records.AuditEntry{
		Time: time.Now(), Who: "signal", Action: "config-loaded", Subject: strings.Join(p.Files, " "), Diff: diff, Hash: p.Hash,
	})
}

// Refused writes a config that was not taken over into the audit trail.
func (d *Daemon) Refused(ctx context.Context, file string, why error) error {
	d.log.Error().Err(why).Str("file", file).Msg("changed config refused, the old plant keeps running")
	return d.records.Audit(ctx, records.AuditEntry{
		Time: time.Now(), Who: "signal", Action: "config-refused", Subject: file, Diff: why.Error(), Hash: d.current().plant.Hash,
	})
}

func needsRestart(a, b *config.Plant) error {
	switch {
	case a.Store != b.Store:
		return fmt.Errorf("store: dir and retention cannot change while the daemon runs; restart it")
	case a.Web != b.Web:
		return fmt.Errorf("web: the address cannot change while the daemon runs; restart it")
	case fmt.Sprintf("%+v", a.Influx) != fmt.Sprintf("%+v", b.Influx) && (a.Influx == nil || b.Influx == nil || *a.Influx != *b.Influx):
		return fmt.Errorf("influx: the server cannot change while the daemon runs; restart it")
	}
	return nil
}

// difference names the loops and links that came, went and changed.
func difference(before, next *generation) string {
	var added, changed, removed []string
	for _, w := range next.loops {
		switch old := before.find(w.loop.Tag); {
		case old == nil:
			added = append(added, w.loop.Tag)
		case old != w:
			changed = append(changed, w.loop.Tag)
		}
	}
	for _, w := range before.loops {
		if next.find(w.loop.Tag) == nil {
			removed = append(removed, w.loop.Tag)
		}
	}
	text := fmt.Sprintf("loops added %v, changed %v, removed %v", added, changed, removed)
	if a, b := fmt.Sprintf("%+v", before.plant.Links), fmt.Sprintf("%+v", next.plant.Links); a != b {
		text += "; links changed"
	}
	return text
}
