package web

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// serve runs a server of src on loopback until the test ends or stop is called.
func serve(t *testing.T, src Source) (address string, stop func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return serveOn(t, src, l)
}

func serveOn(t *testing.T, src Source, l net.Listener) (address string, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- New(src, zerolog.New(zerolog.NewTestWriter(t))).Run(ctx, l) }()
	ended := false
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

// get asks the handler itself.
func get(t *testing.T, src Source, path string) (status int, head http.Header, body string) {
	t.Helper()
	w := httptest.NewRecorder()
	New(src, zerolog.New(zerolog.NewTestWriter(t))).Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	b, err := io.ReadAll(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	return w.Code, w.Header(), string(b)
}

// noon is the moment of tests that need not follow the real clock.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func quiet() zerolog.Logger { return zerolog.Nop() }
