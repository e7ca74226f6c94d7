package daemon

import (
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/measure"
)

// snapshotsAt stores snapshots of engines that know nothing yet, as of the time of
// each loop, and samples of a loop at further times; then it closes the daemon.
func snapshotsAt(t *testing.T, p *config.Plant, asOf func(loop int) time.Time, loop int, stored ...time.Time) {
	t.Helper()
	d := opened(t, p)
	all := map[string]records.Snapshot{}
	for i, w := range d.current().loops {
		all[w.tag] = records.Snapshot{AsOf: asOf(i), Body: w.follow.Snapshot(nil)}
	}
	if err := d.records.SaveSnapshots(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	err := d.history.Import(t.Context(), func(yield func(string, *measure.Sample) bool) {
		for _, at := range stored {
			s := measure.Empty(at, measure.Good)
			if !yield(dozenTags[loop], &s) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
}

func startedAt(t *testing.T, p *config.Plant, now time.Time) *Daemon {
	t.Helper()
	d, err := openAt(p, Options{}, now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

const year = 365 * day

// Loops that were last sampled a year ago, with nothing stored since, cost a start
// nothing: no mark is exchanged for them.
func TestStartAfterAYearExchangesNothing(t *testing.T) {
	now := time.Date(2026, 6, 1, 9, 3, 0, 0, time.UTC)
	tests := []struct {
		name string
		asOf func(int) time.Time
	}{
		{"all a year ago", func(int) time.Time { return now.Add(-year) }},
		{"some a year ago", func(i int) time.Time { return now.Add(-20*time.Second - year*time.Duration(i%2)) }},
		{"by a clock that was a year ahead", func(int) time.Time { return now.Add(year) }},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			p := dozen(t)
			snapshotsAt(t, p, c.asOf, sound)
			if d := startedAt(t, p, now); !d.current().near.mark.IsZero() {
				t.Errorf("marks were exchanged up to %s", d.current().near.mark)
			}
		})
	}
}

// A start runs no more than a day of stored samples through the engines, however
// long snapshots have failed; what is within it is all taken in.
func TestCatchUpIsBounded(t *testing.T) {
	now := time.Date(2026, 6, 1, 9, 3, 0, 0, time.UTC)
	last := now.Add(-3 * time.Hour)
	p := dozen(t)
	stored := []time.Time{now.Add(-year).Add(time.Hour), now.Add(-30 * day), last.Add(-23 * time.Hour), last.Add(time.Hour), now.Add(-time.Minute)}
	snapshotsAt(t, p, func(i int) time.Time {
		if i == sound {
			return now.Add(-year)
		}
		return last
	}, sound, stored...)
	d := startedAt(t, p, now)
	g := d.current()
	if got, want := g.loops[sound].stepped, stored[len(stored)-1]; !got.Equal(want) {
		t.Errorf("caught up to %s, want the last stored sample, of %s", got, want)
	}
	g.loops[sound].stepped = now.Add(-year)
	all, err := d.backlogs(t.Context(), g, now)
	if err != nil || len(all) != 1 || !all[0].from.Equal(stored[2]) || !all[0].until.Equal(stored[4]) {
		t.Errorf("to be caught up %+v, err %v; want one loop from %s to %s", all, err, stored[2], stored[4])
	}
}

// What was stored more than a day after the newest snapshot is not caught up with.
func TestCatchUpEndsADayAfterTheSnapshots(t *testing.T) {
	now := time.Date(2026, 6, 1, 9, 3, 0, 0, time.UTC)
	last := now.Add(-10 * day)
	p := dozen(t)
	stored := []time.Time{last.Add(time.Hour), last.Add(23 * time.Hour), last.Add(30 * time.Hour), now.Add(-time.Hour)}
	snapshotsAt(t, p, func(int) time.Time { return last }, sound, stored...)
	if got := startedAt(t, p, now).current().loops[sound].stepped; !got.Equal(stored[1]) {
		t.Errorf("caught up to %s, want the last sample of the day, of %s", got, stored[1])
	}
}

// Samples that lie further apart than marks are all caught up with.
func TestCatchUpGoesOnOverEmptyIntervals(t *testing.T) {
	now := time.Date(2026, 6, 1, 9, 3, 0, 0, time.UTC)
	asOf := now.Add(-5 * time.Hour).Truncate(time.Hour)
	p := dozen(t)
	var stored []time.Time
	for k := range 4 {
		stored = append(stored, asOf.Add(time.Duration(k+1)*time.Hour))
	}
	snapshotsAt(t, p, func(int) time.Time { return asOf }, sound, stored...)
	g := startedAt(t, p, now).current()
	if got, want := g.loops[sound].stepped, stored[3]; !got.Equal(want) {
		t.Errorf("caught up to %s, want the last stored sample, of %s", got, want)
	}
	if want := stored[3].Truncate(drift.Mark); !g.near.mark.Equal(want) {
		t.Errorf("exchanged up to %s, want the mark before the last stored sample, %s", g.near.mark, want)
	}
}
