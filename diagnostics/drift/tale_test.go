package drift

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// tale is one file of testdata/tales: what happens to a loop and what is to be
// said of it. Lines are
//
//	# prose
//	way METHOD REPORTS          the connection
//	interval 10m                between polls
//	process batches             of the element; else it is steady
//	season 6                    ± per cent of the copper in a year
//	days 70                     its length
//	DAY VERB ARGUMENTS          what happens from that day on (tale_events_test.go); sizes in mΩ
//	first KIND LEADS FROM TO    the first finding above info, raised between two days
//	then KIND LEADS FROM TO     among the later ones is such a one
//	note KIND FROM TO           a note (severity info) between two days
//	cleared KIND FROM TO        it is cleared between two days
//	finally KIND LEADS SEVERITY [FORECAST]   stands in the end, and no other
//
// Leads are like a1,b2 or - for none. Without first nothing above info may be
// said at all, without note no note.
type tale struct {
	way      way
	interval time.Duration
	process  func(d float64) float64
	season   float64 // share
	days     float64
	happens  []happening
	first    *expected
	then     []expected
	notes    []expected
	cleared  []expected
	finally  []standing
}

// expected is a finding between two days.
type expected struct {
	kind     finding.Kind
	leads    finding.LeadSet
	from, to float64
}

// standing is a finding that is open in the end.
type standing struct {
	kind     finding.Kind
	leads    finding.LeadSet
	severity string
	forecast finding.ForecastState // empty = any
}

// TestTales tells every tale to an engine.
func TestTales(t *testing.T) {
	paths, err := filepath.Glob("testdata/tales/*.txt")
	if err != nil || len(paths) < 60 {
		t.Fatalf("%d tales, error %v; want at least 60", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			t.Parallel()
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			x, err := parseTale(string(text))
			if err != nil {
				t.Fatal(err)
			}
			fs, open := x.tell(t)
			x.check(t, fs, open)
		})
	}
}

func parseTale(text string) (*tale, error) {
	x := &tale{way: way{wiring.ThreeWireDual, wiring.AllLeads}, interval: 10 * time.Minute, days: 70}
	for i, line := range strings.Split(text, "\n") {
		if f := strings.Fields(line); len(f) > 0 && !strings.HasPrefix(f[0], "#") {
			if err := x.line(f); err != nil {
				return nil, fmt.Errorf("line %d: %s: %w", i+1, line, err)
			}
		}
	}
	return x, nil
}

func (x *tale) line(f []string) (err error) {
	switch word := f[0]; word {
	case "way":
		if x.way.method, err = wiring.ParseMethod(f[1]); err == nil {
			x.way.reports, err = wiring.ParseReports(f[2])
		}
	case "interval":
		x.interval, err = time.ParseDuration(f[1])
	case "process":
		if x.process = batches; f[1] != "batches" {
			err = fmt.Errorf("no process %q", f[1])
		}
	case "season":
		x.season, err = strconv.ParseFloat(f[1], 64)
		x.season /= 100
	case "days":
		x.days, err = strconv.ParseFloat(f[1], 64)
	case "first", "then":
		var w expected
		if w, err = window(f[1], f[2], f[3:]); word == "first" {
			x.first = &w
		} else {
			x.then = append(x.then, w)
		}
	case "note", "cleared":
		var w expected
		if w, err = window(f[1], "-", f[2:]); word == "note" {
			x.notes = append(x.notes, w)
		} else {
			x.cleared = append(x.cleared, w)
		}
	case "finally":
		s := standing{kind: finding.Kind(f[1]), severity: f[3]}
		if len(f) > 4 {
			s.forecast = finding.ForecastState(f[4])
		}
		s.leads, err = leadSet(f[2])
		x.finally = append(x.finally, s)
	default:
		var h happening
		h, err = happens(f)
		x.happens = append(x.happens, h)
	}
	return err
}

func window(kind, leads string, days []string) (w expected, err error) {
	w.kind = finding.Kind(kind)
	if !slices.Contains(finding.Kinds(), w.kind) || len(days) != 2 {
		return w, fmt.Errorf("want a kind and two days")
	}
	if w.leads, err = leadSet(leads); err != nil {
		return w, err
	}
	if w.from, err = strconv.ParseFloat(days[0], 64); err != nil {
		return w, err
	}
	w.to, err = strconv.ParseFloat(days[1], 64)
	return w, err
}

func leadSet(s string) (set finding.LeadSet, err error) {
	if s == "-" {
		return 0, nil
	}
	for _, name := range strings.Split(s, ",") {
		l := slices.Index([]string{"a1", "a2", "b1", "b2"}, name)
		if l < 0 {
			return 0, fmt.Errorf("no lead %q", name)
		}
		set |= finding.LeadsOf(measure.Lead(l))
	}
	return set, nil
}

// tell steps an engine through the tale; it returns what was said and what
// stands in the end.
func (x *tale) tell(t *testing.T) (fs, open []finding.Finding) {
	s := testSpec(t, "TT-2101", x.way.method, x.way.reports)
	s.Interval = x.interval
	e := mustEngine(t, s)
	c := newCable(17)
	c.step, c.process, c.season = x.interval, x.process, year(x.season)
	c.fault = func(d float64, v *[measure.LeadCount]float64) {
		for i := range x.happens {
			if h := &x.happens[i]; h.leads != nil && d >= h.day {
				h.leads(d, v)
			}
		}
	}
	was := 0.0
	for i := range int(x.days * float64(24*time.Hour) / float64(x.interval)) {
		d := float64(i) * x.interval.Hours() / 24
		m, lost := c.at(s, i), false
		for j := range x.happens {
			h := &x.happens[j]
			switch {
			case d < h.day:
			case h.sample != nil:
				lost = !h.sample(d, &m) || lost
			case h.journal && was < h.day:
				fs = e.Journal(m.At.Add(-time.Second), h.entry, fs)
			}
		}
		if was = d; !lost {
			fs = e.Step(&m, nil, fs)
		}
	}
	return fs, e.Open(nil)
}

// on returns the day of a time.
func on(at time.Time) float64 { return at.Sub(testStart).Hours() / 24 }

// holds tells whether one of the findings is what is expected.
func (w *expected) holds(fs []finding.Finding) bool {
	return slices.ContainsFunc(fs, func(f finding.Finding) bool {
		return f.Kind == w.kind && f.Leads == w.leads && on(f.Time) >= w.from && on(f.Time) <= w.to
	})
}

func (x *tale) check(t *testing.T, fs, open []finding.Finding) {
	var above, notes, cleared []finding.Finding
	for _, f := range fs {
		switch {
		case f.State == finding.Cleared:
			f.Leads = 0 // whoever was named last
			cleared = append(cleared, f)
		case f.Severity == finding.Info:
			f.Leads = 0
			notes = append(notes, f)
		default:
			above = append(above, f)
		}
	}
	x.checkFirst(t, above)
	for _, w := range x.then {
		if !w.holds(above) {
			t.Errorf("no %s %v between day %g and %g", w.kind, w.leads.Names(), w.from, w.to)
		}
	}
	for _, w := range x.cleared {
		if !w.holds(cleared) {
			t.Errorf("%s is not cleared between day %g and %g", w.kind, w.from, w.to)
		}
	}
	for _, w := range x.notes {
		if !w.holds(notes) {
			t.Errorf("nobody notes %s between day %g and %g", w.kind, w.from, w.to)
		}
	}
	for _, f := range notes {
		if !slices.ContainsFunc(x.notes, func(w expected) bool { return w.kind == f.Kind }) {
			t.Errorf("notes %s on day %.2f: %s", f.Kind, on(f.Time), f.Evidence)
		}
	}
	x.checkOpen(t, open)
	if t.Failed() {
		for _, f := range fs {
			if f.State == finding.Updated {
				continue
			}
			t.Logf("day %.2f: %s %s %v %s: %s", on(f.Time), f.State, f.Kind, f.Leads.Names(), f.Severity, f.Evidence)
		}
	}
}

// checkFirst holds the findings above info against first; no lead may be named
// that is not expected to be.
func (x *tale) checkFirst(t *testing.T, above []finding.Finding) {
	if x.first == nil {
		for _, f := range above {
			t.Errorf("%s %v on day %.2f: %s", f.Kind, f.Leads.Names(), on(f.Time), f.Evidence)
			return
		}
		return
	}
	if len(above) == 0 || !x.first.holds(above[:1]) {
		t.Errorf("want first %s %v between day %g and %g", x.first.kind, x.first.leads.Names(), x.first.from, x.first.to)
	}
	may := x.first.leads
	for _, w := range x.then {
		may |= w.leads
	}
	for _, s := range x.finally {
		may |= s.leads
	}
	for _, f := range above {
		if f.Leads&^may != 0 {
			t.Errorf("%s names %v on day %.2f: %s", f.Kind, f.Leads.Names(), on(f.Time), f.Evidence)
		}
	}
}

// checkOpen wants exactly those findings above info to stand that are told.
func (x *tale) checkOpen(t *testing.T, open []finding.Finding) {
	open = counted(open)
	if len(open) != len(x.finally) {
		t.Errorf("%d findings stand in the end, want %d", len(open), len(x.finally))
	}
	for _, s := range x.finally {
		i := slices.IndexFunc(open, func(f finding.Finding) bool { return f.Kind == s.kind })
		if i < 0 {
			t.Errorf("no %s stands in the end", s.kind)
			continue
		}
		f, state := open[i], finding.ForecastState("")
		if f.Forecast != nil {
			state = f.Forecast.State
		}
		if f.Leads != s.leads || f.Severity.String() != s.severity || s.forecast != "" && state != s.forecast {
			t.Errorf("in the end stands %s %v %s, forecast %q; want %v %s %q", f.Kind, f.Leads.Names(), f.Severity, state, s.leads.Names(), s.severity, s.forecast)
		}
	}
}
