package daemon

import (
	"bytes"
	"database/sql"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/presence"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// withoutFirstLink takes the first link out of a plant with its loops: the others
// move up by one.
func withoutFirstLink(q *config.Plant) {
	q.Links = q.Links[1:]
	q.Loops = slices.DeleteFunc(q.Loops, func(l config.Loop) bool { return l.Link == 0 })
	for i := range q.Loops {
		q.Loops[i].Link--
	}
}

func TestReloadWithoutALinkShowsTheOthers(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	q := changed(p, withoutFirstLink)
	reload(t, d, q)
	for i := range q.Loops {
		l := &q.Loops[i]
		v, ok := pages{d}.Loop(l.Tag)
		if !ok || v.Link != q.Links[l.Link].Name || v.Unit != l.Unit {
			t.Errorf("%s: link %q unit %d on the page, want %q %d", l.Tag, v.Link, v.Unit, q.Links[l.Link].Name, l.Unit)
		}
		r := httptest.NewRecorder()
		d.Handler().ServeHTTP(r, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/loop/"+l.Tag, nil))
		if r.Code != http.StatusOK {
			t.Errorf("%s: the page answers %d", l.Tag, r.Code)
		}
	}
	audit, err := d.records.Audits(t.Context(), 1)
	if err != nil || len(audit) != 1 || !strings.Contains(audit[0].Diff, "changed []") {
		t.Errorf("audit %v, err %v; want no loop changed: those that stay have the link that they had", audit, err)
	}
}

func TestReloadOfAMovedLoopKeepsItsState(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	w := d.current().loops[growing]
	before, stood := w.diagnostics().Snapshot(nil), standingOf(d, growing)
	q := changed(p, func(q *config.Plant) {
		q.Loops[growing].Link, q.Loops[growing].Unit, q.Loops[growing].Base = 3, 77, 4000
	})
	told := len(events(t, d, w.tag))
	reload(t, d, q)
	if now := d.current().loops[growing]; now != w || !bytes.Equal(now.diagnostics().Snapshot(nil), before) {
		t.Error("what was learnt of a loop is not what it was before it moved to another link")
	}
	if got := standingOf(d, growing); !slices.EqualFunc(got, stood, sameFinding) {
		t.Errorf("%v stands after the move, %v before it", got, stood)
	}
	if n := len(events(t, d, w.tag)); n != told {
		t.Errorf("%d events on record before the move, %d after it", told, n)
	}
	if v, _ := (pages{d}).Loop(w.tag); v.Link != q.Links[3].Name || v.Unit != 77 {
		t.Errorf("the page shows link %s unit %d, want %s 77", v.Link, v.Unit, q.Links[3].Name)
	}
}

func sameFinding(a, b finding.Finding) bool {
	return a.Loop == b.Loop && a.Kind == b.Kind && a.Leads == b.Leads && a.Since.Equal(b.Since) && a.Box == b.Box
}

func TestReloadOfALimitKeepsWhatWasLearnt(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	w := d.current().loops[growing]
	before, stood := viewOf(w), standingOf(d, growing)
	reload(t, d, changed(p, func(q *config.Plant) { q.Loops[growing].LimitHigh, q.Loops[growing].LimitLow = 7, -7 }))
	after := viewOf(w)
	if !after.Learnt || after.Level[measure.A1] != before.Level[measure.A1] || !after.At.Equal(before.At) {
		t.Errorf("learnt %t, level %v at %s; before the reload %v at %s", after.Learnt, after.Level, after.At, before.Level, before.At)
	}
	if got := standingOf(d, growing); !slices.EqualFunc(got, stood, sameFinding) {
		t.Errorf("%v stands after the reload, %v before it", got, stood)
	}
	if _, open := onRecord(t, d, w.tag)[finding.LeadDrift]; !open {
		t.Error("the drift was closed on record because a limit changed")
	}
	if got := w.diagnostics().Assess().Spec().LimitHigh; got != 7 {
		t.Errorf("limit %g °C in force, want the new one of 7", got)
	}
}

func TestReloadOfAMethodClosesWhatRestsOnIt(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	w := d.current().loops[growing]
	now := time.Now()
	w.tick(presence.At(now.Add(-time.Hour)))
	d.record.add(w.tick(presence.At(now)))
	recordAll(t, d)
	if _, stale := onRecord(t, d, w.tag)[finding.Stale]; !stale {
		t.Fatal("an hour of silence is not on record")
	}
	reload(t, d, changed(p, func(q *config.Plant) { q.Loops[growing].Method = wiring.ThreeWireLoop }))
	open := onRecord(t, d, w.tag)
	if _, is := open[finding.LeadDrift]; is {
		t.Error("the drift that another method saw is open on record: nothing can ever close it")
	}
	if _, is := open[finding.Stale]; !is {
		t.Error("that nobody hears of the loop was closed on record by a reload")
	}
	if s := standingOf(d, growing); s.find(finding.LeadDrift) != nil || s.find(finding.Stale) == nil {
		t.Errorf("%v stands on the page, want stale and no drift", s)
	}
	reasons := 0
	for _, f := range events(t, d, w.tag) {
		if f.Kind == finding.LeadDrift && f.State == finding.Cleared && strings.Contains(f.Evidence, "described anew") {
			reasons++
		}
	}
	if reasons != 1 {
		t.Errorf("%d events close the drift and say why, want one", reasons)
	}
}

func TestReloadWithoutALoopClosesItsFindings(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	tag := p.Loops[growing].Tag
	reload(t, d, changed(p, func(q *config.Plant) { q.Loops = slices.Delete(q.Loops, growing, growing+1) }))
	for k, f := range onRecord(t, d, tag) {
		if f.Box == "" {
			t.Errorf("%s of a loop that is no longer in the plant is open on record", k)
		}
	}
	closed := 0
	for _, f := range events(t, d, tag) {
		if f.State == finding.Cleared && strings.Contains(f.Evidence, "no longer in the plant") {
			closed++
		}
	}
	if closed == 0 {
		t.Error("no event says why the findings of the loop are closed")
	}
	if f := standingOf(d, 0).find(finding.LeadDrift); f == nil || f.Loop != p.Loops[growing2].Tag {
		t.Errorf("the next loop lost its own drift: %v", standingOf(d, 0))
	}
}

func TestReloadIntervalReachesThePresenceWatch(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	w := d.current().loops[sound]
	engine := w.diagnostics()
	reload(t, d, changed(p, func(q *config.Plant) {
		q.Loops[sound].Interval, q.Loops[sound].Spec.Interval = time.Minute, time.Minute
	}))
	now := d.current().loops[sound]
	if now != w || now.diagnostics() != engine {
		t.Error("what was learnt of a loop does not survive another interval")
	}
	if got := now.watch.StaleAfter(); got != 3*time.Minute {
		t.Errorf("stale after %s at an interval of 1 min, want three of them", got)
	}
}

// What a reload must see as a change of the loop's diagnostics, and what not.
func TestSameLoop(t *testing.T) {
	table := func(middle quantity.Ohm) rtd.Sensor {
		c, err := rtd.NewTable("vessel 7", []rtd.Point{{T: 0, R: 100}, {T: 50, R: middle}, {T: 100, R: 138}})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	p, again := dozen(t), dozen(t)
	p.Loops[sound].Sensor, again.Loops[sound].Sensor = table(119), table(119)
	for i := range p.Loops {
		if !sameLoop(&p.Loops[i], &again.Loops[i]) {
			t.Errorf("%s: the same file read twice is a change", p.Loops[i].Tag)
		}
	}
	tests := []struct {
		what   string
		change func(*config.Loop)
		same   bool
	}{
		{"link, unit and base", func(l *config.Loop) { l.Link, l.Unit, l.Base = 3, 99, 777 }, true},
		{"interval", func(l *config.Loop) { l.Interval, l.Spec.Interval = time.Hour, time.Hour }, true},
		{"place in the file", func(l *config.Loop) { l.Place.Line++ }, true},
		{"a curve of the same name and ends", func(l *config.Loop) { l.Sensor = table(120) }, false},
		{"limit", func(l *config.Loop) { l.LimitHigh++ }, false},
		{"method", func(l *config.Loop) { l.Method++ }, false},
		{"box", func(l *config.Loop) { l.Box += "a" }, false},
		{"lead accuracy", func(l *config.Loop) { l.Accuracy.Lead = 0.123 }, false},
		{"calibration", func(l *config.Loop) { l.Calibrated++ }, false},
	}
	for _, c := range tests {
		l := p.Loops[sound]
		c.change(&l)
		if got := sameLoop(&p.Loops[sound], &l); got != c.same {
			t.Errorf("%s changed: same %t, want %t", c.what, got, c.same)
		}
	}
}

// A plant that runs is not reported as refused because the audit trail is not
// writable.
func TestReloadRunsWithoutAudit(t *testing.T) {
	p := dozen(t)
	log := &strings.Builder{}
	d := opened(t, p, log)
	other(t, p, "ALTER TABLE audit RENAME TO audit_gone")
	if err := d.Reload(t.Context(), changed(p, withoutFirstLink)); err != nil {
		t.Errorf("the new plant runs and the reload says %v", err)
	}
	if n := len(d.current().plant.Links); n != 5 {
		t.Errorf("%d links run, want the 5 of the new plant", n)
	}
	if !strings.Contains(log.String(), "audit trail") {
		t.Errorf("the log does not say that the audit trail lacks the reload:\n%s", log)
	}
}

// other runs a statement on the daemon's database from another connection.
func other(t testing.TB, p *config.Plant, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(p.Store.Dir, "state.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(t.Context(), statement); err != nil {
		t.Fatal(err)
	}
}

func TestRefusedReloadChangesNothing(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	before, overview := d.current(), d.Overview()
	engine := before.loops[growing].diagnostics()
	stood, told := standingOf(d, growing), len(events(t, d, p.Loops[growing].Tag))
	everything := func(q *config.Plant) { // a change of each sort beside the one that is refused
		withoutFirstLink(q)
		q.Loops[0].Method = wiring.ThreeWireHalf
		q.Loops[1].LimitHigh = 9
		q.Loops[2].Interval, q.Loops[2].Spec.Interval = time.Minute, time.Minute
	}
	refused := map[string]func(*config.Plant){
		"data folder":    func(q *config.Plant) { q.Store.Dir = "elsewhere" },
		"page address":   func(q *config.Plant) { q.Web.Listen = "127.0.0.1:9" },
		"influx":         func(q *config.Plant) { q.Influx = &config.Influx{URL: "http://127.0.0.1:9"} },
		"by diagnostics": func(q *config.Plant) { q.Loops[3].Wires = 17 },
		"by the poller":  func(q *config.Plant) { q.Loops[3].Interval = -1 },
	}
	for what, change := range refused {
		q := changed(p, func(q *config.Plant) { everything(q); change(q) })
		if err := d.Reload(t.Context(), q); err == nil {
			t.Fatalf("%s: taken over, want it refused", what)
		}
		recordAll(t, d)
		w := before.loops[growing]
		switch {
		case d.current() != before || w.diagnostics() != engine:
			t.Errorf("%s: refused, and the daemon runs another plant", what)
		case !slices.EqualFunc(standingOf(d, growing), stood, sameFinding):
			t.Errorf("%s: refused, and %v stands where %v stood", what, standingOf(d, growing), stood)
		case len(events(t, d, w.tag)) != told:
			t.Errorf("%s: refused, and something was said", what)
		case len(d.Overview().Loops) != len(overview.Loops):
			t.Errorf("%s: refused, and the overview has %d loops", what, len(d.Overview().Loops))
		}
		for i, w := range before.loops {
			if want := max(3*p.Loops[i].Interval, 30*time.Second); w.watch.StaleAfter() != want {
				t.Errorf("%s: refused, and %s is stale after %s, want %s", what, w.tag, w.watch.StaleAfter(), want)
			}
		}
	}
}
