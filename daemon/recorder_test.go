package daemon

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/devices"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// locked takes the daemon's database for writing from another connection until
// the returned function is called.
func locked(t testing.TB, p *config.Plant) (free func()) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(p.Store.Dir, "state.db"))
	if err != nil {
		t.Fatal(err)
	}
	conn, err := db.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.ExecContext(t.Context(), "BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	return func() {
		if _, err := conn.ExecContext(context.Background(), "ROLLBACK"); err != nil {
			t.Error(err)
		}
		conn.Close()
		db.Close()
	}
}

// another is a reading at which another transmitter answers: each one is told.
func another(at time.Time, text string) *devices.Reading {
	r := read(at, measure.Good)
	r.DeviceChanged = text
	return r
}

// A database that another program has locked stops no polling, and what was said
// meanwhile is on record afterwards, in order.
func TestLockedDatabaseStopsNoPoll(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	ctx, stop := context.WithCancel(t.Context())
	written := make(chan error, 1)
	go func() { written <- d.record.run(ctx) }()
	free := locked(t, p)
	const polls = 50
	at := time.Now().Truncate(time.Second)
	taken := make(chan struct{})
	go func() {
		defer close(taken)
		for k := range polls {
			for i := range d.current().loops {
				d.current().Take(i, another(at.Add(time.Duration(k)*time.Second), fmt.Sprintf("number %02d", k)))
			}
		}
	}()
	select {
	case <-taken:
	case <-time.After(10 * time.Second): // the busy timeout is 5 s a poll
		t.Error("polls wait for the database")
	}
	free()
	<-taken
	recordAll(t, d)
	stop()
	if err := <-written; err != nil {
		t.Error(err)
	}
	for _, tag := range dozenTags {
		var got []string
		for _, f := range events(t, d, tag) {
			if f.Kind == finding.DeviceChanged {
				got = append(got, f.Evidence)
			}
		}
		if len(got) != polls || !slices.IsSorted(got) {
			t.Errorf("%s: %d of %d on record, in order %t: %v", tag, len(got), polls, slices.IsSorted(got), got)
		}
	}
}

// What fails to be written is written once, in order, with what was said since.
func TestRecorderTriesAgainInOrder(t *testing.T) {
	p := dozen(t)
	log := &strings.Builder{}
	d := opened(t, p, log)
	at := time.Now().Truncate(time.Second)
	say := func(k int) {
		d.current().Take(sound, another(at.Add(time.Duration(k)*time.Second), fmt.Sprintf("number %02d", k)))
	}
	other(t, p, "ALTER TABLE finding_event RENAME TO gone")
	for k := range 3 {
		say(k)
		if err := d.record.drain(t.Context()); err == nil {
			t.Fatal("written into a table that is not there")
		}
	}
	if n := strings.Count(log.String(), "cannot be recorded"); n != 1 {
		t.Errorf("the log says %d times that nothing can be written, want once", n)
	}
	other(t, p, "ALTER TABLE gone RENAME TO finding_event")
	say(3)
	recordAll(t, d)
	say(4)
	recordAll(t, d)
	var got []string
	for _, f := range events(t, d, dozenTags[sound]) {
		if f.Kind == finding.DeviceChanged {
			got = append(got, f.Evidence)
		}
	}
	if want := []string{"number 00", "number 01", "number 02", "number 03", "number 04"}; !slices.Equal(got, want) {
		t.Errorf("on record %v, want %v", got, want)
	}
}

// A finding that cannot be written down, whatever is wrong with it, keeps no
// other off the record.
func TestOneBadFindingKeepsNoOtherOffTheRecord(t *testing.T) {
	p := dozen(t)
	log := &strings.Builder{}
	d := opened(t, p, log)
	at := time.Now()
	w := d.current().loops[sound]
	good := w.plain(finding.DeviceFault, finding.Failure, at)
	bad := w.plain(finding.Implausible, finding.Failure, at)
	bad.Forecast = &finding.Forecast{State: finding.Dated, Value: math.Inf(1)}
	last := w.plain(finding.ValueFrozen, finding.Failure, at)
	d.record.add([]finding.Finding{good, bad, last})
	if err := d.record.drain(t.Context()); err != nil {
		t.Errorf("something still waits: %v", err)
	}
	open := onRecord(t, d, w.tag)
	for _, k := range []finding.Kind{finding.DeviceFault, finding.ValueFrozen} {
		if _, is := open[k]; !is {
			t.Errorf("%s is not on record because of another finding", k)
		}
	}
	if !strings.Contains(log.String(), string(finding.Implausible)) {
		t.Errorf("the log does not name the finding that is lost:\n%s", log)
	}
}

// Beyond the bound the oldest updates go; what was raised or cleared never does.
func TestRecorderGivesUpUpdatesOnly(t *testing.T) {
	r := newRecorder(nil, zerolog.Nop(), func() {})
	const more = 100
	states := []finding.State{finding.Raised, finding.Updated, finding.Updated, finding.Cleared}
	var want []finding.Finding
	updates := 0
	for n := range recorderBound + more {
		f := finding.Finding{Confidence: float64(n), State: states[n%len(states)]}
		r.add([]finding.Finding{f})
		if f.State == finding.Updated {
			if updates++; updates <= more {
				continue
			}
		}
		want = append(want, f)
	}
	same := func(a, b finding.Finding) bool { return a.Confidence == b.Confidence && a.State == b.State }
	if !slices.EqualFunc(r.waiting, want, same) || r.dropped != more {
		t.Errorf("%d wait, %d given up; want %d and %d, the oldest updates gone and the rest in order", len(r.waiting), r.dropped, len(want), more)
	}
	cleared := slices.Repeat([]finding.Finding{{State: finding.Cleared}}, recorderBound)
	r.add(cleared)
	n := 0
	for _, f := range r.waiting {
		if f.State != finding.Updated {
			n++
		}
	}
	if want := recorderBound + (recorderBound+more)/2; n != want {
		t.Errorf("%d raises and clears wait, want all %d", n, want)
	}
}

// A state that knows more than the records do is not stored.
func TestNoSnapshotWhileSomethingWaits(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	g := d.current()
	at := time.Now().Truncate(time.Second)
	for i := range g.loops {
		g.Take(i, read(at, measure.Good))
	}
	if err := d.snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	other(t, p, "ALTER TABLE finding_event RENAME TO gone")
	g.Take(sound, another(at.Add(time.Minute), "another one"))
	if err := d.snapshot(t.Context()); err == nil {
		t.Error("a snapshot was taken though what it contains is not on record")
	}
	s, err := d.records.LoadSnapshots(t.Context())
	if err != nil || !s[dozenTags[sound]].AsOf.Equal(at) {
		t.Errorf("snapshot as of %s, err %v; want the one before, of %s", s[dozenTags[sound]].AsOf, err, at)
	}
	other(t, p, "ALTER TABLE gone RENAME TO finding_event")
	if err := d.snapshot(t.Context()); err != nil {
		t.Error(err)
	}
	if s, err = d.records.LoadSnapshots(t.Context()); err != nil || !s[dozenTags[sound]].AsOf.Equal(at.Add(time.Minute)) {
		t.Errorf("snapshot as of %s, err %v; want the newest", s[dozenTags[sound]].AsOf, err)
	}
	if _, is := onRecord(t, d, dozenTags[sound])[finding.DeviceChanged]; !is {
		t.Error("what waited is not on record after the snapshot")
	}
}

// What is said last, while everything stops, goes on record before Run returns.
func TestStopRecordsWhatWasSaidLast(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	d.current().Take(sound, another(time.Now(), "the last word"))
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := d.Run(ctx, nil); err != nil {
		t.Fatal(err)
	}
	if _, is := onRecord(t, d, dozenTags[sound])[finding.DeviceChanged]; !is {
		t.Error("the last word is not on record")
	}
	if n := len(d.record.waiting); n != 0 {
		t.Errorf("%d transitions wait after the stop", n)
	}
}

// What is said while a transaction is under way comes after what is in it, also
// when that transaction fails.
func TestRecorderKeepsOrderOverAFailure(t *testing.T) {
	p := dozen(t)
	d := opened(t, p)
	at := time.Now().Truncate(time.Second)
	say := func(k int) {
		d.current().Take(sound, another(at.Add(time.Duration(k)*time.Second), fmt.Sprintf("number %02d", k)))
	}
	free := locked(t, p)
	say(0)
	ctx, cancel := context.WithCancel(t.Context())
	failed := make(chan error, 1)
	go func() { failed <- d.record.drain(ctx) }()
	for waits := 1; waits > 0; { // until the transaction has what was said
		d.record.mu.Lock()
		waits = len(d.record.waiting)
		d.record.mu.Unlock()
		runtime.Gosched()
	}
	say(1)
	cancel()
	if err := <-failed; err == nil {
		t.Error("written into a locked database")
	}
	free()
	recordAll(t, d)
	var got []string
	for _, f := range events(t, d, dozenTags[sound]) {
		got = append(got, f.Evidence)
	}
	if want := []string{"number 00", "number 01"}; !slices.Equal(got, want) {
		t.Errorf("on record %v, want %v", got, want)
	}
}
