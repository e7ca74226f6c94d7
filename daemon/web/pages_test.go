package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

const evilTag = `<script>alert("1&2")</script>`

// plants holds one plant for each state that a page must survive; tag is the
// loop whose own page is looked at, empty = there is none.
func plants(now time.Time) map[string]struct {
	src *plant
	tag string
} {
	one := func(edit func(*Loop)) *plant {
		p := newPlant(now)
		l := p.addSound(0, now)
		edit(l)
		return p
	}
	evil := one(func(l *Loop) {
		l.Spec.Tag, l.Spec.Area, l.Spec.Service, l.Problem = evilTag, evilTag, evilTag, evilTag
		l.Terminals[0].Enclosure, l.Terminals[0].Terminal = evilTag, evilTag
		degrade(l, measure.B1, 0.1, now)
		l.Findings[0].Evidence = evilTag
	})
	return map[string]struct {
		src *plant
		tag string
	}{
		"empty": {newPlant(now), ""},
		"one":   {one(func(*Loop) {}), "TT-1101"},
		"never polled": {one(func(l *Loop) {
			l.Polled, l.Values, l.History = time.Time{}, diagnostics.Assessment{}, time.Time{}
		}), "TT-1101"},
		"stale":     {one(func(l *Loop) { l.Values.At = now.Add(-5 * time.Minute) }), "TT-1101"},
		"no answer": {one(func(l *Loop) { l.Quality, l.Problem = measure.Comms, "unit 1: no answer in 1 s" }), "TT-1101"},
		"failing":   {larkfield(6, now), "TT-1103"},
		"checked":   {checked(now), "TT-1103"},
		"no limits, no terminals": {one(func(l *Loop) {
			n := (&Row{}).values()
			l.Spec.LimitHigh, l.Spec.LimitLow, l.Values.ShareLimit, l.Terminals = n.Error, n.Error, n.ShareLimit, nil
		}), "TT-1101"},
		"inferred":          {one(func(l *Loop) { l.Spec.Reports = wiring.PairsOnly }), "TT-1101"},
		"script as the tag": {evil, evilTag},
	}
}

func loopPath(tag string) string {
	return newRow(0, &Row{Spec: &diagnostics.Spec{Tag: tag}}, noon).Href
}

// forbidden is what the content security policy would block or what a template
// leaves behind when a value is missing.
var forbidden = regexp.MustCompile(`<script>|\sstyle=|\son[a-z]+="|<no value>|NaN|%!|ZgotmplZ|0001-01-01`)

func TestPagesRender(t *testing.T) {
	for name, c := range plants(time.Now()) {
		paths := []string{"/"}
		if c.tag != "" {
			paths = append(paths, loopPath(c.tag))
		}
		for _, path := range paths {
			status, head, body := get(t, c.src, path)
			if status != http.StatusOK || !strings.HasPrefix(head.Get("Content-Type"), "text/html") {
				t.Errorf("%s %s: %d %s", name, path, status, head.Get("Content-Type"))
			}
			if bad := forbidden.FindString(body); bad != "" {
				t.Errorf("%s %s: the page has %q", name, path, bad)
			}
			if !strings.HasSuffix(strings.TrimSpace(body), "</html>") {
				t.Errorf("%s %s: the page ends early", name, path)
			}
		}
	}
}

// checked is a plant in which somebody works at the loop that has failed.
func checked(now time.Time) *plant {
	p := larkfield(6, now)
	p.loops[2].Condition = diagnostics.FunctionCheck
	return p
}

func TestPagesSayWhatTheyKnow(t *testing.T) {
	all := plants(time.Now())
	tests := []struct {
		plant      string
		path       string
		says, hush []string
	}{
		{"empty", "/", []string{"This plant has no loops yet", "no value yet"}, nil},
		{"one", "/", []string{"TT-1101", "0.600", ">Good<", "good</span>, <time", "57.3"}, []string{"not visible"}},
		{"never polled", "/", []string{"never polled", "no value", "Not known", "without any value"}, []string{"0.000", "0.00 ", ">Good<"}},
		{"never polled", "/loop/TT-1101", []string{"never been polled", "no value"}, []string{"0.000 Ω", "0.00<"}},
		{"stale", "/", []string{">stale<", `class="st-not-known dim"`}, []string{`st-good dim`}},
		{"stale", "/loop/TT-1101", []string{"Not live", ">stale<"}, nil},
		{"no answer", "/", []string{"no answer in 1 s", ">no answer<"}, []string{`id="r0" role="row" data-live class="st-good`}},
		{"failing", "/", []string{"a2 is open since", "Failure", "not visible"}, nil},
		{"failing", "/loop/TT-1103", []string{"a2 is open", "The break is at one or more", "Before anything is touched"}, []string{"torque"}},
		{"failing", "/loop/TT-1104", []string{"a1 cannot be told from the sensor on this transmitter", "not visible"}, nil},
		{"failing", "/loop/TT-1106", []string{"marked terminals of b1", `class="lead bad"`, "Look at b1 without touching"}, nil},
		{"checked", "/", []string{"Function check"}, nil},
		{"checked", "/loop/TT-1103", []string{"Somebody works here", "Function check", "a2 is open", "not valid"}, nil},
		{"inferred", "/", []string{"inferred: "}, nil},
		{"inferred", "/loop/TT-1101", []string{"absolute, inferred, assuming one cable with equal leads", "lead b1: measured"}, nil},
		{"one", "/", nil, []string{"inferred"}},
		{"no limits, no terminals", "/loop/TT-1101", []string{"not listed in the plant"}, []string{"Share of the loop"}},
		{"script as the tag", "/", []string{"&lt;script&gt;alert"}, []string{evilTag}},
	}
	for _, c := range tests {
		_, _, body := get(t, all[c.plant].src, c.path)
		for _, s := range c.says {
			if !strings.Contains(body, s) {
				t.Errorf("%s %s does not say %q", c.plant, c.path, s)
			}
		}
		for _, s := range c.hush {
			if n := strings.Count(body, s); n > 0 && !inChips(body, s) {
				t.Errorf("%s %s says %q", c.plant, c.path, s)
			}
		}
	}
}

// inChips reports whether s is only in the counts by condition.
func inChips(body, s string) bool {
	chips := regexp.MustCompile(`(?s)<nav class="chips".*?</nav>`).ReplaceAllString(body, "")
	return !strings.Contains(chips, s)
}

func TestAStalledDaemonSaysSo(t *testing.T) {
	now := time.Now()
	p := larkfield(2, now)
	p.progress.LastPoll = now.Add(-5 * time.Minute)
	for _, path := range []string{"/", "/loop/TT-1101"} {
		if _, _, body := get(t, p, path); !strings.Contains(body, "Polling has stalled: no poll has ended for 5 min") {
			t.Errorf("%s does not say that polling has stalled", path)
		}
	}
}

func TestOtherAddresses(t *testing.T) {
	p := larkfield(2, time.Now())
	tests := []struct {
		path   string
		status int
		says   string
	}{
		{"/loop/TT-9", 404, "no loop with the tag “TT-9”"},
		{"/loop/" + "%3Cscript%3E", 404, "“&lt;script&gt;”"},
		{"/nothing", 404, "no page at this address"},
		{"/static/nothing.js", 404, ""},
		{"/static/app.js", 200, "EventSource"},
		{"/static/uplot/LICENSE", 200, "MIT License"},
	}
	for _, c := range tests {
		if status, _, body := get(t, p, c.path); status != c.status || !strings.Contains(body, c.says) {
			t.Errorf("%s: %d, want %d with %q", c.path, status, c.status, c.says)
		}
	}
}

func TestHeaders(t *testing.T) {
	_, h, _ := get(t, newPlant(noon), "/")
	for name, want := range map[string]string{
		"Content-Security-Policy": "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
		"X-Content-Type-Options":  "nosniff",
		"X-Frame-Options":         "DENY",
		"Referrer-Policy":         "no-referrer",
		"Cache-Control":           "no-store",
	} {
		if got := h.Get(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
}

func TestNothingCanBeChangedFromOutside(t *testing.T) {
	h := New(larkfield(2, noon), quiet()).Handler()
	for _, path := range []string{"/", "/loop/TT-1101", "/api/loops", "/stream"} {
		for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete} {
			r := httptest.NewRequest(method, path, nil)
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			w := httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != http.StatusForbidden {
				t.Errorf("%s %s from another site: %d, want 403", method, path, w.Code)
			}
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			w = httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != http.StatusMethodNotAllowed {
				t.Errorf("%s %s from here: %d, want 405", method, path, w.Code)
			}
		}
	}
}

// BenchmarkOverview is what one reader feels: the whole table, sorted, in HTML.
func BenchmarkOverview(b *testing.B) {
	for _, n := range []int{60, 5000} {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			h := New(larkfield(n, time.Now()), quiet()).Handler()
			r := httptest.NewRequest(http.MethodGet, "/", nil)
			b.ReportAllocs()
			var size int
			for b.Loop() {
				w := httptest.NewRecorder()
				h.ServeHTTP(w, r)
				size = w.Body.Len()
			}
			b.ReportMetric(float64(size), "B/page")
		})
	}
}

// BenchmarkStreamTick is what one open table costs the daemon each second.
func BenchmarkStreamTick(b *testing.B) {
	for _, n := range []int{60, 5000} {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			now := time.Now()
			p := larkfield(n, now)
			h := &hub{src: p}
			s := &overviewStream{server: New(p, quiet()), query: query{Page: 1}}
			prev, _ := s.next(h.tick(now))
			b.ReportAllocs()
			for b.Loop() {
				f, _ := s.next(h.tick(now))
				f.since(prev, now.UnixMilli())
				prev = f
			}
		})
	}
}
