package daemon

import (
	"context"
	"slices"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/web"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/follow"
	"ohmdrift/diagnostics/measure"
)

// pages shows the daemon to package web.
type pages struct{ d *Daemon }

// Overview implements web.Source.
func (p pages) Overview() web.Overview {
	g := p.d.current()
	o := web.Overview{Site: g.plant.Site, Loops: make([]web.Row, len(g.loops))}
	for i, w := range g.loops {
		o.Loops[i] = w.row(&g.plant.Loops[i].Spec)
	}
	return o
}

func (w *watched) row(spec *diagnostics.Spec) web.Row {
	n, s := w.view()
	return web.Row{
		Spec: spec, Values: n.values, Polled: n.polled, Quality: n.quality, Problem: n.problem,
		Condition: w.condition(), Standing: s.worst(), Open: len(s),
	}
}

// Loop implements web.Source.
func (p pages) Loop(tag string) (web.Loop, bool) {
	g := p.d.current()
	i := g.index(tag)
	if i < 0 {
		return web.Loop{}, false
	}
	w, loop := g.loops[i], &g.plant.Loops[i]
	_, s := w.view()
	l := web.Loop{
		Row: w.row(&loop.Spec), Findings: s, Contact: w.contact(), Terminals: terminals(loop.Terminals), Unit: loop.Unit,
		RecordedUntil: p.d.recordedUntil(), History: p.d.history.Oldest(),
	}
	if loop.Link >= 0 {
		l.Link = g.plant.Links[loop.Link].Name
	}
	if loop.Profile != nil {
		l.Profile = loop.Profile.Name
	}
	return l, true
}

func terminals(run []config.Terminal) []web.Terminal {
	ts := make([]web.Terminal, len(run))
	for i, t := range run {
		ts[i] = web.Terminal(t)
	}
	return ts
}

// Progress implements web.Source.
func (p pages) Progress() web.Progress {
	return web.Progress{
		Started: p.d.progress.began, LastPoll: p.d.progress.lastPoll(),
		PollsPerSecond: p.d.progress.rate.value(), StallAfter: p.d.current().stallAfter(),
	}
}

// Alive reports whether polling makes progress: a poll has ended, answered or
// not, within the time after which a single loop counts as stale.
func (d *Daemon) Alive() bool {
	g, now := d.current(), d.progress.now()
	last := d.progress.lastPoll()
	if last.IsZero() {
		last = d.progress.began
	}
	return now.Sub(last) < g.stallAfter() || !g.polls()
}

// polls reports whether any loop of the plant is polled.
func (g *generation) polls() bool {
	return slices.ContainsFunc(g.plant.Loops, func(l config.Loop) bool { return l.Link >= 0 })
}

// stallAfter is three times the shortest interval and at least 30 s: as long as
// a single loop takes to become stale.
func (g *generation) stallAfter() time.Duration {
	shortest := time.Duration(0)
	for i := range g.plant.Loops {
		l := &g.plant.Loops[i]
		if l.Link >= 0 && (shortest == 0 || l.Interval < shortest) {
			shortest = l.Interval
		}
	}
	return max(3*shortest, 30*time.Second)
}

// Trend implements web.Source: the stored samples run once more through the
// loop's own diagnostics, so that a picture of last month shows what today's
// engine makes of it. The run starts a while before from, for the engine to
// settle.
func (p pages) Trend(ctx context.Context, tag string, from, to time.Time, _ time.Duration, each func(web.TrendPoint)) error {
	w := p.d.current().find(tag)
	if w == nil {
		return web.ErrUnknownLoop
	}
	spec, baseline := w.basis()
	f, err := follow.New(spec)
	if err != nil {
		return err
	}
	if baseline != nil {
		if err := f.Assess().SetBaseline(*baseline); err != nil {
			return err
		}
	}
	return p.d.history.Replay(ctx, tag, from.Add(-trendRunIn), to, func(s *measure.Sample) error {
		a, _ := f.Step(s, nil, nil)
		if a.Quality.Usable() && !s.At.Before(from) {
			counts, u := f.Assess().Counts(&a)
			each(web.TrendPoint{At: s.At, Error: counts, U: u, Contact: f.Engine().Estimate().Contact})
		}
		return nil
	})
}

// trendRunIn is how much earlier a trend's replay starts: the engine's copper
// estimate needs days to settle.
const trendRunIn = 14 * 24 * time.Hour
