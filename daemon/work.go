package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// Work polls a loop as fast as its device and the probe budget of its link
// allow, for a limited time (at most an hour; zero ends it), because somebody
// works there: a bad contact then answers the hand at once. For that time the loop
// is in function check: what the hand does is no fault of it. Who asked stands in
// the journal.
func (d *Daemon) Work(ctx context.Context, tag, who string, span time.Duration) error {
	if span == 0 {
		return d.endWork(ctx, tag, who, "work mode ended", drift.CheckEnded)
	}
	d.reload.Lock()
	defer d.reload.Unlock()
	i, err := d.worker(tag, who)
	if err != nil {
		return err
	}
	if err := d.poller.Work(i, span); err != nil {
		return fmt.Errorf("work: %w", err)
	}
	return d.check(ctx, d.current().loops[i], who, time.Now(), span)
}

// check begins a function check of a loop.
func (d *Daemon) check(ctx context.Context, w *watched, who string, now time.Time, span time.Duration) error {
	err := d.records.AddJournal(ctx, records.JournalEntry{Time: now, Loop: w.tag, Who: who, Text: fmt.Sprintf("work mode for %s", span)})
	if err != nil {
		return err
	}
	w.check(now, now.Add(span))
	d.entered(ctx, w)
	return nil
}

// WorkDone ends work mode of a loop, if it is on, and takes it that something was
// done there: what stood is cleared and the loop is learnt anew. Who did what stands
// in the journal.
func (d *Daemon) WorkDone(ctx context.Context, tag, who, done string) error {
	if done = strings.TrimSpace(done); done == "" {
		return errors.New(`work: say what was done, such as "retightened b1"; where nothing was done leave it out`)
	}
	return d.endWork(ctx, tag, who, "work done: "+done, drift.WorkDone)
}

// endWork ends work mode with an entry for the engine, and its text for people.
func (d *Daemon) endWork(ctx context.Context, tag, who, text string, entry drift.Entry) error {
	d.reload.Lock()
	defer d.reload.Unlock()
	i, err := d.worker(tag, who)
	if err != nil {
		return err
	}
	_ = d.poller.Work(i, 0) // a loop that is not polled has nothing to end there
	return d.endCheck(ctx, d.current().loops[i], records.JournalEntry{Time: time.Now(), Loop: tag, Who: who, Text: text}, entry)
}

// endCheck ends the function check of a loop with a journal entry.
func (d *Daemon) endCheck(ctx context.Context, w *watched, j records.JournalEntry, entry drift.Entry) error {
	if err := d.records.AddJournal(ctx, j); err != nil {
		return err
	}
	d.record.add(w.enter(j.Time, entry))
	d.entered(ctx, w)
	return nil
}

// worker returns the number of a loop at which somebody works.
func (d *Daemon) worker(tag, who string) (int, error) {
	if who == "" {
		return 0, fmt.Errorf("work at %s: say who works there", tag)
	}
	i := d.current().index(tag)
	if i < 0 {
		return 0, fmt.Errorf("work: no loop %q in the plant", tag)
	}
	return i, nil
}

// check begins a function check that ends at until at the latest.
func (w *watched) check(now, until time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.follow.Check(now, until)
}

// enter takes a person's entry into the loop's diagnostics.
func (w *watched) enter(at time.Time, entry drift.Entry) []finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	said := w.follow.Journal(at, entry, nil)
	w.standing = w.standing.apply(said)
	return said
}

// overdue ends a function check whose time is over. A sample does so as well, but a
// loop in which somebody works may give none.
func (w *watched) overdue(now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if until := w.follow.Engine().CheckedUntil(); w.follow.Engine().Checking() && !now.Before(until) {
		w.follow.Journal(until, drift.CheckEnded, nil) // clears nothing
	}
}

// checkedUntil returns when the function check of the loop ends by itself; the zero
// time where none is on.
func (w *watched) checkedUntil() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.follow.Engine().CheckedUntil()
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
	Done    *string `json:"done"`    // with 0 seconds: what was done
}

// workAnswer is what GET and PUT answer.
type workAnswer struct {
	Loop           string     `json:"loop"`
	PollsPerSecond float64    `json:"polls_per_second"`     // reached, 0 = off
	Until          *time.Time `json:"function_check_until"` // null = none is on
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
		problem(w, http.StatusBadRequest, fmt.Sprintf(`want {"who": "name", "seconds": 600}, or {"who": "name", "seconds": 0, "done": "what was done"}: %v`, err))
		return
	}
	if err := d.obey(context.WithoutCancel(r.Context()), r.PathValue("tag"), &asked); err != nil {
		problem(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	d.getWork(w, r)
}

func (d *Daemon) obey(ctx context.Context, tag string, asked *workAsked) error {
	switch {
	case asked.Done == nil:
		return d.Work(ctx, tag, asked.Who, time.Duration(asked.Seconds*float64(time.Second)))
	case asked.Seconds != 0:
		return errors.New("work: done ends work mode, so seconds must be 0")
	}
	return d.WorkDone(ctx, tag, asked.Who, *asked.Done)
}

func (d *Daemon) getWork(w http.ResponseWriter, r *http.Request) {
	tag := r.PathValue("tag")
	loop := d.current().find(tag)
	if loop == nil {
		problem(w, http.StatusNotFound, fmt.Sprintf("no loop %q in the plant", tag))
		return
	}
	a := workAnswer{Loop: tag, PollsPerSecond: d.WorkRate(tag)}
	if until := loop.checkedUntil(); !until.IsZero() {
		a.Until = &until
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(a) // the reader is gone: nobody is left to tell
}

// problem answers as the page's own JSON does.
func problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"title": http.StatusText(status), "status": status, "detail": detail})
}
