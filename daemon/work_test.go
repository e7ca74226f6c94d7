package daemon_test

import (
	"net/http"
	"net/http/httptest"
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
	if r := d.WorkRate("TT-2412"); r != 0 {
		t.Errorf("a loop where nobody works is polled at %.1f a second", r)
	}
	if got := put(t, url, `{"who": "kim", "seconds": 0}`); got != http.StatusOK || d.WorkRate("TT-2411") != 0 {
		t.Errorf("ending answered %d, rate %.1f", got, d.WorkRate("TT-2411"))
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
	if err != nil || len(entries) != 2 || entries[0].Who != "kim" {
		t.Errorf("journal %+v, err %v; want kim twice", entries, err)
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
