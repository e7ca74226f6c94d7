package daemon

import (
	"iter"

	"ohmdrift/config"
	"ohmdrift/daemon/publish"
)

// openMetrics puts every counter of the daemon behind GET /metrics.
func (d *Daemon) openMetrics(version string) error {
	r := publish.New(version)
	err := r.Register(
		d.poller.Collector(), publish.History(d.history.Stats), publish.Records(d.records.Stats),
		publish.Notify(d.notify.Stats), publish.Loops(d.loopGauges()),
	)
	if err != nil {
		return err
	}
	if d.forward != nil {
		if err := r.Register(publish.Forward(d.forward.Stats)); err != nil {
			return err
		}
	}
	d.web.Also("GET /metrics", r.Handler())
	return nil
}

func (d *Daemon) loopGauges() iter.Seq[publish.Loop] {
	return func(yield func(publish.Loop) bool) {
		g := d.current()
		for i, w := range g.loops {
			if !yield(w.gauges(&g.plant.Loops[i])) {
				return
			}
		}
	}
}

func (w *watched) gauges(loop *config.Loop) publish.Loop {
	n, s := w.view()
	l := publish.Loop{
		Tag: w.tag, Site: loop.Site, Area: loop.Area, Polled: n.polled, Interval: loop.Interval,
		Quality: n.quality, Contact: w.contact(), Condition: w.condition(), Findings: len(s),
	}
	if !n.values.At.IsZero() {
		l.Values = &n.values
	}
	return l
}
