//go:build browser

package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"ohmdrift/diagnostics/measure"
)

// chromium is the browser of Debian's package of that name.
const chromium = "/usr/bin/chromium"

// newBrowser starts a browser of its own for one test.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	if _, err := os.Stat(chromium); err != nil {
		t.Fatalf("%v; install Debian's chromium", err)
	}
	ctx, stop := context.WithTimeout(context.Background(), 90*time.Second)
	t.Cleanup(stop)
	alloc, stopAlloc := chromedp.NewExecAllocator(ctx,
		chromedp.ExecPath(chromium), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	t.Cleanup(stopAlloc)
	tab, stopTab := chromedp.NewContext(alloc)
	t.Cleanup(stopTab)
	return tab
}

// do runs browser actions and ends the test when one fails.
func do(t *testing.T, ctx context.Context, what string, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// await waits until a JavaScript expression is true. It watches from inside the
// page: the page's own policy forbids the eval that a poll from outside needs.
func await(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	wait, stop := context.WithTimeout(ctx, 20*time.Second)
	defer stop()
	watch := fmt.Sprintf(`new Promise((done) => {
		const look = () => { if (%s) { clearInterval(timer); done(true); } };
		const timer = setInterval(look, 50);
	})`, expression)
	if _, err := chromedp.Run(wait, chromedp.Evaluate[bool](watch, chromedp.EvalAwaitPromise)); err != nil {
		seen, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText.slice(0, 600)"))
		t.Fatalf("%s: %s never came true: %v\n%s", what, expression, err, seen)
	}
}

func value[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// rowText is the text of the row of a tag.
func rowText(tag string) string {
	return fmt.Sprintf("[...document.querySelectorAll('#rows tr')].find((r) => r.querySelector('.c-tag a').textContent === %q).innerText", tag)
}

const (
	firstTag = "document.querySelector('#rows .c-tag a').textContent"
	isLive   = "document.getElementById('live').dataset.state === 'live'"
)

func TestBrowserTableLives(t *testing.T) {
	p := larkfield(60, time.Now())
	address, stop := serve(t, p)
	b := newBrowser(t)
	do(t, b, "open", chromedp.EmulateViewport(1440, 900), chromedp.Navigate(address+"/"))
	await(t, b, "live", isLive)

	p.change("TT-1102", func(l *Loop) { l.Values.Leads[measure.B1], l.Values.At = 0.777, time.Now() })
	await(t, b, "a new value arrives", rowText("TT-1102")+".includes('0.777')")

	do(t, b, "sort", chromedp.Click("thead .c-tag a"))
	await(t, b, "sorted by tag", firstTag+" === 'TT-1101' && document.querySelector('th.c-tag').ariaSort === 'ascending'")
	do(t, b, "sort again", chromedp.Click("thead .c-tag a"))
	await(t, b, "sorted down", firstTag+" === 'TT-1160' && location.search.includes('dir=desc')")

	do(t, b, "find", chromedp.SendKeys("input[name=q]", "jb-22"))
	await(t, b, "filtered", "document.querySelectorAll('#rows tr').length === 8 && document.activeElement.name === 'q'")
	do(t, b, "clear", chromedp.Evaluate[chromedp.Void]("const f = document.querySelector('input[name=q]'); f.value = ''; f.dispatchEvent(new Event('input', {bubbles: true}))"))
	await(t, b, "not filtered", "document.querySelectorAll('#rows tr').length === 60")
	do(t, b, "one condition", chromedp.Click(".chip.st-failure"))
	await(t, b, "filtered by condition", "document.querySelectorAll('#rows tr').length === 1 && "+firstTag+" === 'TT-1103'")
	do(t, b, "all again", chromedp.Click(".chip.all"))
	await(t, b, "all rows", "document.querySelectorAll('#rows tr').length === 60")

	stop()
	await(t, b, "banner", "!document.getElementById('cut').hidden && document.getElementById('cut').innerText.includes('Not live')")
	if got := value[string](t, b, "getComputedStyle(document.querySelector('#rows .st-good [data-k$=\".b1\"]')).textDecorationLine"); got != "line-through" {
		t.Errorf("a value without a stream is drawn %q, want struck", got)
	}
	again, err := net.Listen("tcp", strings.TrimPrefix(address, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	serveOn(t, p, again)
	await(t, b, "live again by itself", isLive+" && document.getElementById('cut').hidden")
}

// A value that grows old in front of the reader turns grey and says stale, even
// while the stream lives.
func TestBrowserStaleValue(t *testing.T) {
	p := larkfield(2, time.Now())
	p.change("TT-1102", func(l *Loop) { l.Values.At = time.Now().Add(-27 * time.Second) })
	address, _ := serve(t, p)
	b := newBrowser(t)
	do(t, b, "open", chromedp.Navigate(address+"/"))
	await(t, b, "stale", rowText("TT-1102")+".includes('stale') && "+rowText("TT-1102")+".includes('Not known')")
}

func TestBrowserLoopPage(t *testing.T) {
	p := larkfield(15, time.Now())
	address, _ := serve(t, p)
	b := newBrowser(t)
	do(t, b, "open", chromedp.EmulateViewport(1440, 900), chromedp.Navigate(address+"/loop/TT-1101"))
	await(t, b, "plots", "document.querySelectorAll('.plot canvas').length === 2 && document.getElementById('trend-note').textContent.includes('recorded past')")
	p.change("TT-1101", func(l *Loop) { l.Values.Leads[measure.B1], l.Contact[measure.B1] = 0.811, 0.207 })
	await(t, b, "live numbers in drawing and table", "[...document.querySelectorAll('[data-k$=\"b1\"]')].every((e) => e.textContent === '0.811')")
	do(t, b, "table", chromedp.Click("#trend-values summary"))
	await(t, b, "values as a table", "document.querySelectorAll('#trend-values tbody tr').length > 20")
	do(t, b, "a day", chromedp.Click("[data-span='86400']"))
	await(t, b, "a day of values", "document.querySelectorAll('#trend-values tbody tr').length >= 20 && document.querySelector('#trend-values tbody th').textContent.slice(0, 10) >= new Date(Date.now() - 86400000).toISOString().slice(0, 10)")
}

// On a phone the answer comes first: sentence, drawing, what stands, steps.
func TestBrowserPhoneOrder(t *testing.T) {
	address, _ := serve(t, larkfield(3, time.Now()))
	b := newBrowser(t)
	do(t, b, "open", chromedp.EmulateViewport(390, 900), chromedp.Navigate(address+"/loop/TT-1101"))
	await(t, b, "live", isLive)
	tops := value[[]float64](t, b, "['now', 'circuit', 'findings', 'steps', 'trend', 'leads'].map((id) => document.getElementById(id).getBoundingClientRect().top)")
	if !slices.IsSorted(tops) {
		t.Errorf("the parts stand at %v px", tops)
	}
	if shown := value[bool](t, b, "getComputedStyle(document.querySelector('.run.wide')).display === 'none' && document.querySelector('.run.tall').clientHeight > 200"); !shown {
		t.Error("the phone does not get its own drawing")
	}
}

// TestBrowserPagesFit looks at each page at both widths: no sideways scroll, no
// complaint of the browser, no violation that axe-core finds.
func TestBrowserPagesFit(t *testing.T) {
	p := larkfield(60, time.Now())
	p.loops[5].Spec.Area = "A very long area name without end that goes on"
	address, _ := serve(t, p)
	b := newBrowser(t)
	axe := axeScript(t)
	for _, path := range []string{"/", "/?q=nothing+like+it", "/loop/TT-1101", "/loop/TT-1103", "/loop/TT-1104", "/loop/TT-1108", "/nothing"} {
		for _, width := range []int64{1530, 1440, 1280, 1240, 820, 390} {
			name := fmt.Sprintf("%s at %d px", path, width)
			do(t, b, name, chromedp.EmulateViewport(width, 900), chromedp.Navigate(address+path))
			if path != "/nothing" {
				await(t, b, name, isLive)
			}
			if got := value[int64](t, b, "document.documentElement.scrollWidth"); got > width {
				t.Errorf("%s scrolls sideways: %d px wide", name, got)
			}
			if path == "/" && width >= 1240 { // as a table, where what stands has room for its words
				if got := value[int64](t, b, "document.querySelector('thead .c-stands').offsetWidth"); got < 180 {
					t.Errorf("%s: what stands is %d px wide", name, got)
				}
			}
			if width == 1440 || width == 390 {
				checkAxe(t, b, name, axe)
			}
		}
	}
}

// axeScript returns the text of axe-core, which deploy/peers/axe fetches.
func axeScript(t *testing.T) string {
	t.Helper()
	path, err := exec.Command("../../deploy/peers/axe").Output()
	if err != nil {
		t.Fatalf("deploy/peers/axe: %v", err)
	}
	text, err := os.ReadFile(strings.TrimSpace(string(path)))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func checkAxe(t *testing.T, ctx context.Context, name, script string) {
	t.Helper()
	do(t, ctx, "axe", chromedp.Evaluate[chromedp.Void](script))
	found := value[string](t, ctx, `axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}).then((r) =>
		JSON.stringify({passes: r.passes.length, violations: r.violations.map((v) => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map((n) => n.html + " " + n.failureSummary).join(" | "))}))`)
	var r struct {
		Passes     int
		Violations []string
	}
	if err := json.Unmarshal([]byte(found), &r); err != nil || r.Passes < 5 {
		t.Fatalf("%s: axe ran %d rules: %v", name, r.Passes, err)
	}
	for _, v := range r.Violations {
		t.Errorf("%s: %s", name, v)
	}
}
