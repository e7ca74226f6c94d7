package daemon_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/daemon"
	"ohmdrift/daemon/records"
)

func put(t *testing.T, url, body string) int {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPut, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

// condition returns what the page's JSON says of a loop.
func condition(t *testing.T, page, tag string) string {
	t.Helper()
	var l struct{ Condition string }
	q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, page+"/api/loops/"+tag, nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if err := json.NewDecoder(resp.Body).Decode(&l); err != nil {
		t.Fatal(err)
	}
	return l.Condition
}

// While somebody works at a loop that is polled once in ten seconds it answers as
// fast as its registers are renewed, the rate is told, the journal says who; and
// it ends.
func TestWorkModeAnswersTheHand(t *testing.T) {
	t.Parallel()
	p, _ := larkfield(t, 10*time.Second)
	d, err := daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	stop := running(t, d)
	until(t, d, 1) // the poller runs
	pages := httptest.NewServer(d.Handler())
	defer pages.Close()
	url := pages.URL + "/api/loops/TT-2411/work"
	for body, want := range map[string]int{
		`{"seconds": 60}`:                  http.StatusUnprocessableEntity, // nobody
		`{"who": "kim", "seconds": 86400}`: http.StatusUnprocessableEntity, // a day
		`{"who": "kim", "hours": 1}`:       http.StatusBadRequest,
		`{"who": "kim", "seconds": 60}`:    http.StatusOK,
	} {
		if got := put(t, url, body); got != want {
			t.Errorf("%s answered %d, want %d", body, got, want)
		}
	}
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for tries := 0; d.WorkRate("TT-2411") < 1; tries++ {
		if <-tick.C; tries == 1000 {
			t.Fatalf("work mode reached %.1f polls a second in 20 s, want 1: ten times the interval, as fast as its registers are renewed", d.WorkRate("TT-2411"))
		}
	}
	if c := condition(t, pages.URL, "TT-2411"); c != "function-check" {
		t.Errorf("condition %q while somebody works there, want function-check", c)
	}
	if c := condition(t, pages.URL, "TT-2412"); c == "function-check" {
		t.Error("a loop where nobody works is in function check")
	}
	if r := d.WorkRate("TT-2412"); r != 0 {
		t.Errorf("a loop where nobody works is polled at %.1f a second", r)
	}
	if got := put(t, url, `{"who": "kim", "seconds": 0}`); got != http.StatusOK || d.WorkRate("TT-2411") != 0 {
		t.Errorf("ending answered %d, rate %.1f", got, d.WorkRate("TT-2411"))
	}
	if c := condition(t, pages.URL, "TT-2411"); c == "function-check" {
		t.Error("function check after its end")
	}
	for body, want := range map[string]int{
		`{"who": "kim", "seconds": 60, "done": "retightened b1"}`: http.StatusUnprocessableEntity, // it is not done yet
		`{"who": "kim", "seconds": 0, "done": " "}`:               http.StatusUnprocessableEntity,
		`{"seconds": 0, "done": "retightened b1"}`:                http.StatusUnprocessableEntity, // nobody
		`{"who": "kim", "seconds": 0, "done": "retightened b1"}`:  http.StatusOK,
	} {
		if got := put(t, url, body); got != want {
			t.Errorf("%s answered %d, want %d", body, got, want)
		}
	}
	stop()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := records.Open(p.Store.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	entries, err := r.Journal(t.Context(), "TT-2411")
	var texts []string
	for _, e := range entries {
		texts = append(texts, e.Who+": "+e.Text)
	}
	if want := []string{"kim: work mode for 1m0s", "kim: work mode ended", "kim: work done: retightened b1"}; err != nil || !slices.Equal(texts, want) {
		t.Errorf("journal %q, err %v; want %q", texts, err, want)
	}
}

func TestWorkModeIsTakenFromThisMachineOnly(t *testing.T) {
	t.Parallel()
	p, _ := larkfield(t, 10*time.Second)
	d, err := daemon.Open(p, daemon.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	q := httptest.NewRequest(http.MethodPut, "/api/loops/TT-2411/work", strings.NewReader(`{"who": "kim", "seconds": 60}`))
	q.RemoteAddr = "192.0.2.7:40000" // documentation range, RFC 5737
	w := httptest.NewRecorder()
	d.Handler().ServeHTTP(w, q)
	if w.Code != http.StatusForbidden {
		t.Errorf("a stranger was answered %d, want 403", w.Code)
	}
}
