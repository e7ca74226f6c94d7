package forward_test

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/daemon/forward"
	"ohmdrift/daemon/records"
)

// receiver is a write API whose answers a test decides.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	answer func(lines []string) (status int, body string, header http.Header)
	taken  map[string]bool // lines answered with 204
	calls  int
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{taken: map[string]bool{}}
	r.Server = httptest.NewServer(r)
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) say(answer func(lines []string) (int, string, http.Header)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.answer = answer
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	z, err := gzip.NewReader(req.Body)
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnsupportedMediaType)
		return
	}
	text, _ := io.ReadAll(z)
	lines := strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
	r.mu.Lock()
	defer r.mu.Unlock()
	r.calls++
	status := http.StatusNoContent
	if r.answer != nil {
		var body string
		var h http.Header
		status, body, h = r.answer(lines)
		for k, v := range h {
			w.Header()[k] = v
		}
		if status != http.StatusNoContent {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(status)
			_, _ = io.WriteString(w, body)
			return
		}
	}
	for _, l := range lines {
		r.taken[l] = true
	}
	w.WriteHeader(status)
}

func (r *receiver) state() (taken, calls int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.taken), r.calls
}

func always(status int, body string) func([]string) (int, string, http.Header) {
	return func([]string) (int, string, http.Header) { return status, body, nil }
}

func add(r *running, from, n int) {
	for i := from; i < from+n; i++ {
		a, s := result(i)
		r.Add("L", "A", fmt.Sprintf("TT-%d", i), a, s)
	}
}

// A wrong token is nobody's data's fault: all waits, and the log says what to do.
func TestWrongTokenHoldsTheQueue(t *testing.T) {
	t.Parallel()
	srv := newReceiver(t)
	srv.say(always(http.StatusUnauthorized, `{"code":"unauthorized","message":"unauthorized access"}`))
	r := run(t, forward.Options{URL: srv.URL, Bucket: "b", Token: "s3cret-token"})
	add(r, 0, 100)
	r.until(t, "several refused calls", func(s forward.Stats) bool { return s.FailedCalls >= 3 })
	srv.say(nil)
	s := r.until(t, "all sent", func(s forward.Stats) bool { return s.Sent == 100 })
	if s.Quarantined != 0 {
		t.Errorf("%+v: nothing belongs in quarantine", s)
	}
	r.stop()
	log := r.log.String()
	if strings.Count(log, "do not reach") != 1 || !strings.Contains(log, "check the token") {
		t.Errorf("want one line with advice:\n%s", log)
	}
	if strings.Contains(log, "s3cret") {
		t.Errorf("the log has the token:\n%s", log)
	}
}

// A server that refuses the whole batch for one line, without storing the
// others, as version 2 does for a line it cannot read.
func TestRefusedBatchIsHalved(t *testing.T) {
	t.Parallel()
	srv := newReceiver(t)
	srv.say(func(lines []string) (int, string, http.Header) {
		for _, l := range lines {
			if strings.Contains(l, "loop=TT-77,") || strings.Contains(l, "loop=TT-400,") {
				return http.StatusBadRequest, `{"code":"invalid","message":"unable to parse '` + l[:20] + `': bad"}`, nil
			}
		}
		return http.StatusNoContent, "", nil
	})
	r := run(t, forward.Options{URL: srv.URL, Bucket: "b", Spool: 200 * time.Millisecond})
	add(r, 0, 500)
	s := r.until(t, "the good lines sent", func(s forward.Stats) bool { return s.Sent == 498 })
	taken, calls := srv.state()
	if taken != 498 || s.Quarantined != 2 || s.QueuedBatches != 0 {
		t.Errorf("%d lines stored, %+v; want 498 and 2 in quarantine", taken, s)
	}
	if calls > 60 { // two paths of log2(500) ≈ 9 halvings with two calls each, and the pieces between
		t.Errorf("%d calls to find two lines of 500", calls)
	}
}

// When every line is bad and the server says so, one call is enough.
func TestAllDroppedIsBelieved(t *testing.T) {
	t.Parallel()
	srv := newReceiver(t)
	srv.say(func(lines []string) (int, string, http.Header) {
		return http.StatusUnprocessableEntity, fmt.Sprintf(`{"error":"partial write: field type conflict dropped=%d"}`, len(lines)), nil
	})
	r := run(t, forward.Options{URL: srv.URL, Bucket: "b", Spool: 200 * time.Millisecond})
	add(r, 0, 300)
	r.until(t, "all in quarantine", func(s forward.Stats) bool { return s.Quarantined == 300 && s.QueuedBatches == 0 })
	if _, calls := srv.state(); calls > 3 {
		t.Errorf("%d calls, want one a batch", calls)
	}
	srv.say(nil)
	add(r, 300, 1)
	r.until(t, "the next line sent", func(s forward.Stats) bool { return s.Sent == 1 })
	r.stop()
	for _, msg := range []string{"refuses lines", "takes every line again"} {
		if n := strings.Count(r.log.String(), msg); n != 1 {
			t.Errorf("log has %q %d times, want once:\n%s", msg, n, r.log)
		}
	}
}

func TestRetryAfterIsObeyed(t *testing.T) {
	t.Parallel()
	srv := newReceiver(t)
	var at []time.Time
	srv.say(func([]string) (int, string, http.Header) {
		at = append(at, time.Now()) // under the receiver's lock
		if len(at) == 1 {
			return http.StatusTooManyRequests, `{}`, http.Header{"Retry-After": {"1"}}
		}
		return http.StatusNoContent, "", nil
	})
	r := run(t, forward.Options{URL: srv.URL, Bucket: "b"})
	add(r, 0, 10)
	r.until(t, "all sent", func(s forward.Stats) bool { return s.Sent == 10 })
	srv.mu.Lock()
	defer srv.mu.Unlock()
	if gap := at[1].Sub(at[0]); gap < time.Second {
		t.Errorf("tried again after %s, asked to wait 1 s (own back-off is 0.02 s)", gap)
	}
}

func TestQueueKeepsItsBound(t *testing.T) {
	t.Parallel()
	srv := newReceiver(t)
	srv.say(always(http.StatusServiceUnavailable, `{}`))
	r := run(t, forward.Options{URL: srv.URL, Bucket: "b", Batch: 100, MaxBytes: 2000})
	add(r, 0, 500)
	r.until(t, "at most 2000 bytes, and each point queued or counted", func(s forward.Stats) bool {
		return s.DroppedQueue > 0 && s.QueuedBytes <= 2000 && uint64(s.QueuedPoints)+s.DroppedQueue == 500
	})
	bs, err := r.store.NextBatches(t.Context(), 1)
	if err != nil || len(bs) != 1 || bs[0].ID == 1 {
		t.Errorf("oldest batch %v %v: the oldest must go first", bs, err)
	}
	srv.say(nil)
	r.until(t, "the rest sent", func(s forward.Stats) bool { return s.Sent+s.DroppedQueue >= 500 && s.QueuedBatches == 0 })
	sent := r.Stats().Sent
	add(r, 500, 1)
	r.until(t, "one more sent", func(s forward.Stats) bool { return s.Sent == sent+1 })
	r.stop()
	for _, msg := range []string{"at its bound", "room again"} {
		if n := strings.Count(r.log.String(), msg); n != 1 {
			t.Errorf("log has %q %d times, want once:\n%s", msg, n, r.log)
		}
	}
}

// full is a queue on a full disk until told otherwise.
type full struct {
	forward.Queue
	failing atomic.Bool
}

func (f *full) Enqueue(ctx context.Context, b []byte, n int) error {
	if f.failing.Load() {
		return errors.New("disk is full")
	}
	return f.Queue.Enqueue(ctx, b, n)
}

func TestFullDiskDropsTheOldestAndCounts(t *testing.T) {
	t.Parallel()
	store, err := records.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	srv := newReceiver(t)
	q := &full{Queue: store}
	q.failing.Store(true)
	f, err := forward.New(forward.Options{URL: srv.URL, Bucket: "b", Batch: 10, Spool: 5 * time.Millisecond, Log: zerolog.Nop()}, q)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- f.Run(ctx) }()
	r := &running{Forwarder: f}
	add(r, 0, 200)
	// A chunk that is being written at the moment is in neither count.
	s := r.until(t, "the disk's failure counted, each point in memory or dropped", func(s forward.Stats) bool {
		return s.SpoolFailures > 1 && uint64(s.InMemory)+s.DroppedBuffer == 200
	})
	if s.InMemory > 100 {
		t.Errorf("%+v: want at most 10 chunks of 10 in memory", s)
	}
	q.failing.Store(false)
	r.until(t, "the rest sent", func(n forward.Stats) bool { return n.Sent+n.DroppedBuffer == 200 })
	srv.mu.Lock()
	newest := false
	for l := range srv.taken {
		newest = newest || strings.Contains(l, "loop=TT-199,")
	}
	srv.mu.Unlock()
	if !newest {
		t.Error("the newest point is lost; the oldest must go first")
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestNewRefusesBadURL(t *testing.T) {
	for _, u := range []string{"", "influx:8086", "tcp://h:1", "http://"} {
		if _, err := forward.New(forward.Options{URL: u}, nil); err == nil || !strings.Contains(err.Error(), "want http") {
			t.Errorf("New(%q): %v", u, err)
		}
	}
}
