package web

import (
	"context"
	"net"
	"os"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/rs/zerolog"
)

// chromium is the browser of Debian's package of that name.
const chromium = "/usr/bin/chromium"

// newBrowser starts a browser of its own for one test.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	if _, err := os.Stat(chromium); err != nil {
		t.Fatalf("%v; install Debian's chromium", err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 90*time.Second)
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

// serve runs a server of src on loopback until the test ends or stop is called.
func serve(t *testing.T, src Source) (address string, stop func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- New(src, zerolog.New(zerolog.NewTestWriter(t))).Run(ctx, l) }()
	var ended bool
	stop = func() {
		if ended {
			return
		}
		ended = true
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	}
	t.Cleanup(stop)
	return "http://" + l.Addr().String(), stop
}
