package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"time"

	"ohmdrift/daemon/records"
)

// Work polls a loop as fast as its device and the probe budget of its link
// allow, for a limited time (at most an hour; zero ends it), because somebody
// works there: a bad contact then answers the hand at once. Who asked stands in
// the journal.
func (d *Daemon) Work(ctx context.Context, tag, who string, span time.Duration) error {
	if who == "" {
		return fmt.Errorf("work at %s: say who works there", tag)
	}
	i := d.current().index(tag)
	if i < 0 {
		return fmt.Errorf("work: no loop %q in the plant", tag)
	}
	if err := d.poller.Work(i, span); err != nil {
		return fmt.Errorf("work: %w", err)
	}
	text := fmt.Sprintf("work mode for %s", span)
	if span == 0 {
		text = "work mode ended"
	}
	return d.records.AddJournal(ctx, records.JournalEntry{Time: time.Now(), Loop: tag, Who: who, Text: text})
}

// WorkRate returns the polls a second that work mode reaches at a loop; 0 when
// it is off.
func (d *Daemon) WorkRate(tag string) float64 {
	if i := d.current().index(tag); i >= 0 {
		return d.poller.WorkRate(i)
	}
	return 0
}

// workAsked is the body of PUT /api/loops/{tag}/work.
type workAsked struct {
	Who     string  `json:"who"`
	Seconds float64 `json:"seconds"` // 0 ends it
}

// workAnswer is what GET and PUT answer.
type workAnswer struct {
	Loop           string  `json:"loop"`
	PollsPerSecond float64 `json:"polls_per_second"` // reached, 0 = off
}

// putWork starts and ends work mode. The page knows no users yet, so it is taken
// from this machine only.
func (d *Daemon) putWork(w http.ResponseWriter, r *http.Request) {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
		problem(w, http.StatusForbidden, "work mode is started on the daemon's own machine only")
		return
	}
	var asked workAsked
	body := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<12))
	body.DisallowUnknownFields()
	if err := body.Decode(&asked); err != nil {
		problem(w, http.StatusBadRequest, fmt.Sprintf(`want {"who": "name", "seconds": 600}: %v`, err))
		return
	}
	tag := r.PathValue("tag")
	if err := d.Work(r.Context(), tag, asked.Who, time.Duration(asked.Seconds*float64(time.Second))); err != nil {
		problem(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	d.getWork(w, r)
}

func (d *Daemon) getWork(w http.ResponseWriter, r *http.Request) {
	tag := r.PathValue("tag")
	if d.current().index(tag) < 0 {
		problem(w, http.StatusNotFound, fmt.Sprintf("no loop %q in the plant", tag))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(workAnswer{tag, d.WorkRate(tag)}) // the reader is gone: nobody is left to tell
}

// problem answers as the page's own JSON does.
func problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"title": http.StatusText(status), "status": status, "detail": detail})
}
