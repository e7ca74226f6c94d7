package presence

import (
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"

	"pgregory.net/rapid"
)

var start = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// story feeds one quality a second for each letter and returns what happened as
// "kind@second" words. A dot is a second without a sample; from W to E, each a
// second without a sample too, somebody works at the loop.
func story(w *Watch, letters string) []string {
	words := []string{}
	quality := map[rune]measure.Quality{'g': measure.Good, 'c': measure.Comms, 'd': measure.Device, 'i': measure.Invalid, 'f': measure.Frozen, 's': measure.Skewed}
	for i, l := range letters {
		at := start.Add(time.Duration(i) * time.Second)
		var out []finding.Finding
		if l == 'W' || l == 'E' {
			w.Pause(l == 'W')
		}
		if l == '.' || l == 'W' || l == 'E' {
			out = w.Tick(At(at), nil)
		} else {
			out = w.Take(At(at), quality[l], "link east, unit 3: no answer in 1 s", nil)
		}
		for _, f := range out {
			words = append(words, f.State.String()+" "+string(f.Kind)+at.Format(" 04:05"))
		}
	}
	return words
}

func times(s string, n int) string {
	out := ""
	for range n {
		out += s
	}
	return out
}

func TestWatchStories(t *testing.T) {
	tests := []struct {
		name, letters string
		want          []string
	}{
		{"good stays silent", times("g", 200), nil},
		{"one bad sample is noise", times("g", 40) + "i" + times("g", 40), nil},
		{"silence is stale after 30 s", times("g", 10) + times("c", 60), []string{"raised stale 00:40"}},
		{"ticks alone make it stale", times("g", 10) + times(".", 60), []string{"raised stale 00:40"}},
		{"skewed runs show as stale", times("g", 10) + times("s", 60), []string{"raised stale 00:40"}},
		{"never polled is not healthy", times(".", 60), []string{"raised stale 00:31"}},
		{"device fault explains the silence", times("d", 90), []string{"raised device-fault 00:30"}},
		{"a device that fails is not stale too", times("g", 10) + times("d", 60), []string{"raised device-fault 00:40"}},
		{"changing troubles are stale in the end", times("g", 10) + times("ddddii", 15), []string{"raised stale 01:10"}},
		{"good clears after 30 s", times("d", 40) + times("g", 40), []string{"raised device-fault 00:30", "cleared device-fault 01:10"}},
		{"what is missing while somebody works is the hand's doing", times("g", 40) + "W" + times("d", 60) + times(".", 60) + times("g", 9) + "E" + times("g", 60), nil},
		{"what still lasts after the work is told at once", times("g", 40) + "W" + times("d", 60) + "E" + times("d", 10), []string{"raised device-fault 01:41"}},
		{"silence through the work is told after it", times("g", 40) + "W" + times("c", 60) + "E" + times("c", 10), []string{"raised stale 01:41"}},
		{"what stood stands while somebody works", times("d", 40) + "W" + times("g", 40) + "E" + times("g", 3), []string{"raised device-fault 00:30", "cleared device-fault 01:22"}},
		{"frozen", times("f", 40), []string{"raised value-frozen 00:30"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := story(New("TT-1", time.Second), tt.letters)
			if len(got) != len(tt.want) {
				t.Fatalf("got %q, want %q", got, tt.want)
			}
			for i := range got {
				if got[i] != tt.want[i] {
					t.Fatalf("got %q, want %q", got, tt.want)
				}
			}
		})
	}
}

func TestOnlyUsableSamplesClear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, at := New("TT-1", 10*time.Second), start
		qs := rapid.SliceOfN(rapid.Uint8Range(0, 9), 60, 60).Draw(t, "qualities")
		standing := map[finding.Kind]bool{}
		for _, q := range qs {
			at = at.Add(10 * time.Second)
			for _, f := range w.Take(At(at), measure.Quality(q), "x", nil) {
				if f.State == finding.Cleared && !measure.Quality(q).Usable() {
					t.Fatalf("%s cleared by quality %s", f.Kind, measure.Quality(q))
				}
				if f.State == finding.Raised && standing[f.Kind] {
					t.Fatalf("%s raised twice", f.Kind)
				}
				standing[f.Kind] = f.State == finding.Raised
			}
		}
	})
}

func TestResumeRepeatsNothing(t *testing.T) {
	w := New("TT-1", time.Second)
	first := w.Take(At(start), measure.Comms, "no answer", nil)
	first = w.Tick(At(start.Add(40*time.Second)), first)
	if len(first) != 1 {
		t.Fatalf("%d findings before the restart, want 1", len(first))
	}
	again := New("TT-1", time.Second)
	again.Resume(first)
	if out := again.Tick(At(start.Add(80*time.Second)), nil); len(out) != 0 {
		t.Fatalf("a restart raised %v again", out)
	}
	if len(again.Open(nil)) != 1 {
		t.Fatal("a restart forgot what stood")
	}
}

// Somebody sets the wall clock two hours on, then back: nothing is stale, and
// silence is still found in its time.
func TestTheWallClockDecidesNothing(t *testing.T) {
	w, wall, mono := New("TT-1", time.Second), start, start
	second := func(q measure.Quality) []finding.Finding {
		wall, mono = wall.Add(time.Second), mono.Add(time.Second)
		return w.Take(Moment{wall, mono}, q, "no answer", nil)
	}
	for range 10 {
		second(measure.Good)
	}
	for _, jump := range []time.Duration{2 * time.Hour, -4 * time.Hour} {
		wall = wall.Add(jump)
		if out := w.Tick(Moment{wall, mono}, nil); len(out) != 0 {
			t.Fatalf("a clock set by %s raised %v", jump, out)
		}
		for range 40 {
			if out := second(measure.Good); len(out) != 0 {
				t.Fatalf("good samples after a clock set by %s: %v", jump, out)
			}
		}
	}
	said := 0
	for range 31 {
		said += len(second(measure.Comms))
	}
	if said != 1 {
		t.Fatalf("31 s of silence after the clock was set back raised %d findings, want 1", said)
	}
}
