package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"go.uber.org/goleak"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/finding"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const token = "s3cret-token"

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// drift is what the engine says of a loop after so many hours.
func drift(loop string, state finding.State, hours int) finding.Finding {
	return finding.Finding{
		Time: noon.Add(time.Duration(hours) * time.Hour), Loop: loop, Kind: finding.LeadDrift, State: state,
		Severity: finding.Maintenance, Evidence: "b1 has 42 mΩ more than its copper", Engine: "drift/1",
	}
}

// post is what a receiver got.
type post struct {
	loop, state, key, auth, kind string
	at                           time.Time
}

// receiver is a real HTTP server whose answers a test decides.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	answer func(p post, before []post) (status int, header http.Header)
	got    []post
	hits   int // requests of any kind
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{}
	r.Server = httptest.NewServer(r)
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.hits++
	var f struct{ Loop, State, Type string }
	text, _ := io.ReadAll(req.Body)
	if err := json.Unmarshal(text, &f); err != nil || f.Type != "finding" {
		http.Error(w, "not a finding", http.StatusUnprocessableEntity)
		return
	}
	p := post{f.Loop, f.State, req.Header.Get("Idempotency-Key"), req.Header.Get("Authorization"), req.Header.Get("Content-Type"), time.Now()}
	status := http.StatusOK
	if r.answer != nil {
		var h http.Header
		status, h = r.answer(p, r.got)
		for k, v := range h {
			w.Header()[k] = v
		}
	}
	r.got = append(r.got, p)
	w.WriteHeader(status)
}

func (r *receiver) posts() []post {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.got)
}

func (r *receiver) asked() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.hits
}

// running is a notifier at work on a store of its own.
type running struct {
	*Notifier
	store *records.Store
	log   *bytes.Buffer
	stop  func()
}

func run(t *testing.T, w *config.Webhook) *running {
	t.Helper()
	store, err := records.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	r := &running{store: store, log: &bytes.Buffer{}}
	p := pace{poll: 10 * time.Millisecond, retryMin: 10 * time.Millisecond, retryMax: 50 * time.Millisecond}
	r.Notifier = newNotifier(store, config.Alerts{Webhook: w}, zerolog.New(zerolog.SyncWriter(r.log)), p)
	store.SetSinks(r.Sinks()...)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	var once sync.Once
	r.stop = func() {
		once.Do(func() {
			cancel()
			if err := <-done; err != nil {
				t.Error(err)
			}
		})
	}
	t.Cleanup(func() {
		r.stop()
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

func (r *running) say(t *testing.T, fs ...finding.Finding) {
	t.Helper()
	if err := r.store.Transition(t.Context(), fs); err != nil {
		t.Fatal(err)
	}
	r.Wake()
}

// until waits for a state of the webhook and returns it.
func (r *running) until(t *testing.T, what string, ok func(Stats) bool) Stats {
	t.Helper()
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	end := time.After(20 * time.Second)
	for {
		s := r.Stats()[WebhookSink]
		if ok(s) {
			return s
		}
		select {
		case <-tick.C:
		case <-end:
			t.Fatalf("%s did not happen; %+v", what, s)
		}
	}
}

func delivered(n uint64) func(Stats) bool { return func(s Stats) bool { return s.Delivered == n } }

func TestEveryNoticeReachesEverySink(t *testing.T) {
	srv := newReceiver(t)
	r := run(t, &config.Webhook{URL: srv.URL + "/hook?key=hidden", Token: token})
	story := []finding.Finding{drift("TT-1", finding.Raised, 0), drift("TT-2", finding.Raised, 1), drift("TT-1", finding.Updated, 24), drift("TT-1", finding.Cleared, 48)}
	r.say(t, story...)
	r.until(t, "four posts", delivered(4))
	r.stop()
	states := map[string][]string{}
	for _, p := range srv.posts() {
		states[p.loop] = append(states[p.loop], p.state)
		if p.auth != "Bearer "+token || p.kind != "application/json" || len(p.key) != 32 {
			t.Errorf("post %+v", p)
		}
	}
	if got := strings.Join(states["TT-1"], " "); got != "raised updated cleared" || len(states["TT-2"]) != 1 {
		t.Errorf("states by loop %v: want each in its order", states)
	}
	for level, state := range map[string]string{"warn": "raised", "info": "cleared"} {
		if !strings.Contains(r.log.String(), `{"level":"`+level+`","loop":"TT-1"`) || strings.Count(r.log.String(), `"message":"finding `+state+`"`) == 0 {
			t.Errorf("log has no %s line for a finding %s:\n%s", level, state, r.log)
		}
	}
	if n := strings.Count(r.log.String(), `"evidence":"b1 has 42 mΩ`); n != 4 {
		t.Errorf("log has %d lines with the finding, want 4", n)
	}
}

func TestARetryHasTheSameKeyAndHoldsItsLoopAlone(t *testing.T) {
	srv := newReceiver(t)
	srv.answer = func(p post, before []post) (int, http.Header) {
		tried := 0
		for _, b := range before {
			if b.key == p.key {
				tried++
			}
		}
		if p.loop == "TT-1" && p.state == "raised" && tried < 4 {
			return http.StatusInternalServerError, nil
		}
		return http.StatusNoContent, nil
	}
	r := run(t, &config.Webhook{URL: srv.URL})
	r.say(t, drift("TT-1", finding.Raised, 0), drift("TT-1", finding.Cleared, 1), drift("TT-2", finding.Raised, 2))
	s := r.until(t, "three delivered", delivered(3))
	r.stop()
	if s.Retries != 4 {
		t.Errorf("%+v: want 4 retries", s)
	}
	posts := srv.posts()
	keys := map[string]bool{}
	var order []string
	for _, p := range posts {
		if p.loop == "TT-1" && p.state == "raised" {
			keys[p.key] = true
		}
		order = append(order, p.loop+" "+p.state)
	}
	if len(keys) != 1 {
		t.Errorf("%d keys for one notice", len(keys))
	}
	if i, j := slices.Index(order, "TT-2 raised"), slices.Index(order, "TT-1 cleared"); i > j || order[len(order)-1] != "TT-1 cleared" {
		t.Errorf("order %q: TT-2 must not wait for TT-1, and TT-1 clears last", order)
	}
	if n := strings.Count(r.log.String(), "notices are not delivered"); n != 1 || strings.Count(r.log.String(), "delivered again") != 1 {
		t.Errorf("%d lines for one trouble:\n%s", n, r.log)
	}
}

// Two loops are in trouble; it is over when the second is well too.
func TestTroubleEndsWithItsLastLoop(t *testing.T) {
	srv := newReceiver(t)
	well := map[string]bool{"TT-3": true}
	srv.answer = func(p post, _ []post) (int, http.Header) {
		if !well[p.loop] {
			return http.StatusBadGateway, nil
		}
		return http.StatusOK, nil
	}
	heal := func(loop string) {
		srv.mu.Lock()
		defer srv.mu.Unlock()
		well[loop] = true
	}
	r := run(t, &config.Webhook{URL: srv.URL})
	r.say(t, drift("TT-1", finding.Raised, 0), drift("TT-2", finding.Raised, 0), drift("TT-3", finding.Raised, 0))
	r.until(t, "one delivered, two tried", func(s Stats) bool { return s.Delivered == 1 && s.Retries >= 2 })
	heal("TT-1")
	if s := r.until(t, "two delivered", delivered(2)); s.Problem == "" {
		t.Errorf("%+v: TT-2 is still in trouble", s)
	}
	heal("TT-2")
	r.until(t, "the end of the trouble", func(s Stats) bool { return s.Delivered == 3 && s.Problem == "" })
	r.stop()
	if n := strings.Count(r.log.String(), "delivered again"); n != 1 {
		t.Errorf("%d ends of one trouble:\n%s", n, r.log)
	}
}

func TestAPermanentErrorIsNotRetried(t *testing.T) {
	for _, status := range []int{http.StatusBadRequest, http.StatusUnauthorized, http.StatusNotFound, http.StatusGone, http.StatusFound} {
		t.Run(fmt.Sprint(status), func(t *testing.T) {
			srv := newReceiver(t)
			elsewhere := newReceiver(t)
			srv.answer = func(p post, _ []post) (int, http.Header) {
				if p.loop == "TT-1" {
					return status, http.Header{"Location": {elsewhere.URL}}
				}
				return http.StatusOK, nil
			}
			r := run(t, &config.Webhook{URL: srv.URL, Token: token})
			r.say(t, drift("TT-1", finding.Raised, 0), drift("TT-2", finding.Raised, 0))
			s := r.until(t, "one delivered, one closed", func(s Stats) bool { return s.Delivered == 1 && s.Refused == 1 && s.Waiting == 0 })
			if s.Retries != 0 || len(srv.posts()) != 2 || elsewhere.asked() != 0 {
				t.Errorf("%+v, %d posts, %d elsewhere; want one attempt each and none elsewhere", s, len(srv.posts()), elsewhere.asked())
			}
			r.stop()
			if n := strings.Count(r.log.String(), "refused for good"); n != 1 {
				t.Errorf("log:\n%s", r.log)
			}
		})
	}
}

// The receiver is away, comes back, and gets everything in order.
func TestAnAbsentReceiverGetsAllWhenItIsBack(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	r := run(t, &config.Webhook{URL: "http://kim:" + token + "@" + address + "/hook?key=" + token, Token: token})
	for i := range 20 {
		r.say(t, drift(fmt.Sprint("TT-", i), finding.Raised, i))
	}
	s := r.until(t, "five attempts", func(s Stats) bool { return s.Retries >= 5 })
	if s.Problem == "" || s.Delivered != 0 {
		t.Errorf("%+v: want a problem and nothing delivered", s)
	}
	srv := &receiver{}
	if l, err = net.Listen("tcp", address); err != nil {
		t.Fatalf("the port freed a moment ago is taken: %v", err)
	}
	srv.Server = &httptest.Server{Listener: l, Config: &http.Server{Handler: srv}}
	srv.Start()
	defer srv.Close()
	s = r.until(t, "all delivered", delivered(20))
	if s.Problem != "" {
		t.Errorf("%+v: the problem is over", s)
	}
	r.stop()
	if strings.Contains(r.log.String(), token) {
		t.Errorf("the log has the secret:\n%s", r.log)
	}
	if strings.Count(r.log.String(), "notices are not delivered") != 1 {
		t.Errorf("want one line for one outage:\n%s", r.log)
	}
}

func TestRetryAfterSparesTheReceiver(t *testing.T) {
	srv := newReceiver(t)
	srv.answer = func(_ post, before []post) (int, http.Header) {
		if len(before) == 0 {
			return http.StatusTooManyRequests, http.Header{"Retry-After": {"1"}}
		}
		return http.StatusOK, nil
	}
	r := run(t, &config.Webhook{URL: srv.URL})
	r.say(t, drift("TT-1", finding.Raised, 0), drift("TT-2", finding.Raised, 0))
	r.until(t, "both delivered", delivered(2))
	posts := srv.posts()
	if gap := posts[1].at.Sub(posts[0].at); len(posts) != 3 || gap < 900*time.Millisecond {
		t.Errorf("%d posts, the second after %s; asked to wait 1 s", len(posts), gap)
	}
}

func TestASlowReceiverTimesOut(t *testing.T) {
	release := make(chan struct{})
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, req *http.Request) {
		select {
		case <-release:
		case <-req.Context().Done():
		}
	}))
	defer srv.Close()
	defer close(release)
	r := run(t, &config.Webhook{URL: srv.URL, Timeout: 20 * time.Millisecond})
	r.say(t, drift("TT-1", finding.Raised, 0))
	r.until(t, "a timeout and another try", func(s Stats) bool { return s.Retries >= 2 && strings.Contains(s.Problem, "does not answer") })
}

// What waits at the stop is delivered by the next start.
func TestNoticesSurviveARestart(t *testing.T) {
	dir := t.TempDir()
	store, err := records.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	store.SetSinks(WebhookSink)
	if err := store.Transition(t.Context(), []finding.Finding{drift("TT-1", finding.Raised, 0)}); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if store, err = records.Open(dir); err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	srv := newReceiver(t)
	n := New(store, config.Alerts{Webhook: &config.Webhook{URL: srv.URL}}, zerolog.Nop())
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := n.Run(ended); err != nil { // the farewell alone delivers it
		t.Fatal(err)
	}
	if p := srv.posts(); len(p) != 1 || p[0].loop != "TT-1" {
		t.Errorf("posts %+v", p)
	}
}

func TestAlertsChangeWhileRunning(t *testing.T) {
	first, second := newReceiver(t), newReceiver(t)
	r := run(t, &config.Webhook{URL: "ftp://nobody"})
	r.say(t, drift("TT-1", finding.Raised, 0))
	r.until(t, "the bad address noticed", func(s Stats) bool { return strings.Contains(s.Problem, "alerts.webhook.url") })
	r.Configure(config.Alerts{Webhook: &config.Webhook{URL: first.URL}})
	r.until(t, "one delivered", delivered(1))
	r.Configure(config.Alerts{Webhook: &config.Webhook{URL: second.URL}})
	r.say(t, drift("TT-2", finding.Raised, 0))
	r.until(t, "two delivered", delivered(2))
	r.Configure(config.Alerts{})
	if got := r.Sinks(); !slices.Equal(got, []string{LogSink}) {
		t.Errorf("sinks %v without a webhook", got)
	}
	if len(first.posts()) != 1 || len(second.posts()) != 1 {
		t.Errorf("%d and %d posts, want one each", len(first.posts()), len(second.posts()))
	}
}
