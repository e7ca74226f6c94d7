package daemon

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
)

// Reload takes over a changed plant while polling goes on: loops and links that
// did not change keep their state, loops that are described anew keep what still
// fits. What cannot be changed while running (data folder, page address) is
// refused with what to do. After an error nothing has changed.
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
	diff := difference(before, next)
	d.history.SetLoops(historyLoops(p))
	if err := d.poller.Reload(PollPlan(p), next); err != nil {
		d.history.SetLoops(historyLoops(before.plant))
		return fmt.Errorf("the old plant keeps running: %w", err)
	}
	d.accept(before, next)
	d.log.Info().Str("config_hash", p.Hash).Str("diff", diff).Msg("plant reloaded")
	err = d.records.Audit(context.WithoutCancel(ctx), records.AuditEntry{
		Time: time.Now(), Who: "signal", Action: "config-loaded", Subject: strings.Join(p.Files, " "), Diff: diff, Hash: p.Hash,
	})
	if err != nil { // the plant runs all the same: saying otherwise would be wrong
		d.log.Error().Err(err).Str("config_hash", p.Hash).Msg("the reload could not be written into the audit trail")
	}
	return nil
}

// accept makes the next generation the running one.
func (d *Daemon) accept(before, next *generation) {
	d.swap.Lock()
	next.takeOver(before, time.Now())
	d.running.Store(next)
	d.swap.Unlock()
	if err := d.baselines(context.Background(), next); err != nil {
		d.log.Error().Err(err).Msg("baselines could not be read; loops calibrated with their leads in circuit show their absolute error only")
	}
	d.cabling(next)
	d.notify.Configure(next.plant.Alerts)
	d.records.SetSinks(d.notify.Sinks()...)
}

// Refused writes a config that was not taken over into the audit trail.
func (d *Daemon) Refused(ctx context.Context, file string, why error) error {
	d.log.Error().Err(why).Str("file", file).Msg("changed config refused, the old plant keeps running")
	return d.records.Audit(context.WithoutCancel(ctx), records.AuditEntry{
		Time: time.Now(), Who: "signal", Action: "config-refused", Subject: file, Diff: why.Error(), Hash: d.current().plant.Hash,
	})
}

func needsRestart(a, b *config.Plant) error {
	switch {
	case a.Store != b.Store:
		return fmt.Errorf("store: dir and retention cannot change while the daemon runs; restart it")
	case a.Web != b.Web:
		return fmt.Errorf("web: the address cannot change while the daemon runs; restart it")
	case !reflect.DeepEqual(a.Influx, b.Influx):
		return fmt.Errorf("influx: the server cannot change while the daemon runs; restart it")
	}
	return nil
}

// difference names the loops and links that came, went and changed.
func difference(before, next *generation) string {
	var added, changed, removed []string
	for i, w := range next.loops {
		old := before.index(w.tag)
		switch {
		case old < 0:
			added = append(added, w.tag)
		case !sameEverything(before.plant, next.plant, old, i):
			changed = append(changed, w.tag)
		}
	}
	for _, w := range before.loops {
		if next.index(w.tag) < 0 {
			removed = append(removed, w.tag)
		}
	}
	text := fmt.Sprintf("loops added %v, changed %v, removed %v", added, changed, removed)
	if !reflect.DeepEqual(before.plant.Links, next.plant.Links) {
		text += "; links changed"
	}
	return text
}

// sameEverything compares a loop with all that the plant says of it, its link by
// name; the line of the file where it stands is no difference.
func sameEverything(p, q *config.Plant, i, k int) bool {
	a, b := p.Loops[i], q.Loops[k]
	if linkName(p, a.Link) != linkName(q, b.Link) {
		return false
	}
	a.Link, b.Link, a.Place, b.Place = 0, 0, config.Place{}, config.Place{}
	return same(reflect.ValueOf(a), reflect.ValueOf(b))
}

func linkName(p *config.Plant, i int) string {
	if i < 0 {
		return ""
	}
	return p.Links[i].Name
}
