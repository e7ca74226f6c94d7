package history

import (
	"context"
	"errors"
	"iter"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// past yields n samples of each loop at a step, oldest first.
func past(loops, n int, step time.Duration) iter.Seq2[string, *measure.Sample] {
	return func(yield func(string, *measure.Sample) bool) {
		tags := make([]string, loops)
		for l := range tags {
			tags[l] = "TT-" + strconv.Itoa(1+l)
		}
		for i := range n {
			s := sampleAt(i)
			s.At = start.Add(time.Duration(i-n) * step)
			for _, tag := range tags {
				if !yield(tag, &s) {
					return
				}
			}
		}
	}
}

// The recorded past comes before, while and after live samples arrive, and all
// is there after another start.
func TestPastAndLiveStandTogether(t *testing.T) {
	dir := t.TempDir()
	h, err := Open(dir, Options{Flush: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	h.SetLoops([]Loop{fourWire("TT-1"), fourWire("TT-2")})
	const days = 90
	if err := h.Import(t.Context(), past(2, days*24, time.Hour)); err != nil {
		t.Fatal(err)
	}
	live := func(from, to int) {
		for i := from; i < to; i++ {
			s := sampleAt(i)
			h.Append("TT-1", &s)
		}
	}
	live(0, 100)
	if err := h.Import(t.Context(), past(1, 50, time.Minute)); err != nil { // between
		t.Fatal(err)
	}
	live(100, 200)
	for _, reopened := range []bool{false, true} {
		if reopened {
			if err := h.Close(); err != nil {
				t.Fatal(err)
			}
			h = open(t, dir, Options{})
		} else if err := h.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		for tag, want := range map[string]int{"TT-1": days*24 + 50 + 200, "TT-2": days * 24} {
			ps, err := h.Range(t.Context(), tag, LeadA2, start.AddDate(0, 0, -days-1), start.Add(time.Hour))
			for i := 1; i < len(ps); i++ {
				if !ps[i].At.After(ps[i-1].At) {
					t.Fatalf("%s: %v after %v", tag, ps[i].At, ps[i-1].At)
				}
			}
			// The minute past shares its hourly times: 0 of 50 minutes before start are whole hours.
			if err != nil || len(ps) != want {
				t.Errorf("reopened %v: %s has %d points, want %d; %v", reopened, tag, len(ps), want, err)
			}
		}
	}
	if st := h.Stats(); st.Refused != 0 {
		t.Errorf("%+v: nothing is refused", st)
	}
}

func TestAPastNewerThanLiveIsStoredLikeLive(t *testing.T) {
	dir := t.TempDir()
	h, err := Open(dir, Options{Flush: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	h.SetLoops([]Loop{fourWire("TT-1")})
	for _, i := range []int{0, 1000} {
		s := sampleAt(i)
		h.Append("TT-1", &s)
	}
	err = h.Import(t.Context(), func(yield func(string, *measure.Sample) bool) {
		for i := 1; i < 1000; i++ {
			if s := sampleAt(i); !yield("TT-1", &s) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	same(t, open(t, dir, Options{}), "TT-1", 1001)
}

func TestAnAbandonedImportLeavesTheStoreSound(t *testing.T) {
	dir := t.TempDir()
	h := open(t, dir, Options{})
	s := sampleAt(0)
	h.Append("TT-1", &s)
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := contextCancelledAfter(t, 100)
	if err := h.Import(ctx, cancel(past(1, 1000, time.Hour))); !errors.Is(err, ctx.Err()) || err == nil {
		t.Errorf("import: %v, want the context's end", err)
	}
	if ps, err := h.Range(t.Context(), "TT-1", LeadA1, start, start.Add(time.Hour)); err != nil || len(ps) != 1 {
		t.Errorf("%v %v", ps, err)
	}
}

// contextCancelledAfter wraps a past so that its context ends after n samples.
func contextCancelledAfter(t *testing.T, n int) (context.Context, func(iter.Seq2[string, *measure.Sample]) iter.Seq2[string, *measure.Sample]) {
	ctx, cancel := context.WithCancel(t.Context())
	return ctx, func(p iter.Seq2[string, *measure.Sample]) iter.Seq2[string, *measure.Sample] {
		return func(yield func(string, *measure.Sample) bool) {
			i := 0
			for tag, s := range p {
				if i++; i == n {
					cancel()
				}
				if !yield(tag, s) {
					return
				}
			}
		}
	}
}

// The promise: a million samples of the past within a few seconds.
func BenchmarkImport(b *testing.B) {
	const loops, n = 60, 16_667 // about 1,000,000 samples: 60 loops over 694 days at 1 h
	for b.Loop() {
		h := open(b, b.TempDir(), Options{})
		var ls []Loop
		for l := range loops {
			ls = append(ls, fourWire("TT-"+strconv.Itoa(1+l)))
		}
		h.SetLoops(ls)
		if err := h.Import(b.Context(), past(loops, n, time.Hour)); err != nil {
			b.Fatal(err)
		}
		if st := h.Stats(); st.Imported != loops*n*8 {
			b.Fatalf("%+v", st)
		}
	}
	b.ReportMetric(float64(b.N)*loops*n/b.Elapsed().Seconds(), "samples/s")
}

// What a poller pays for a sample.
func BenchmarkAppend(b *testing.B) {
	h := open(b, b.TempDir(), Options{Flush: time.Hour, Queue: 1 << 12})
	h.SetLoops([]Loop{fourWire("TT-1")})
	s := sampleAt(0)
	b.ReportAllocs()
	for b.Loop() {
		h.ring.push((*h.loops.Load())["TT-1"], &s)
	}
}

// One flush of 5 s of a plant: commit and sync.
func BenchmarkFlush(b *testing.B) {
	for _, loops := range []int{60, 1000, 5000} {
		b.Run("loops="+strconv.Itoa(loops), func(b *testing.B) {
			h := open(b, b.TempDir(), Options{Flush: time.Hour})
			tags := make([]string, loops)
			var ls []Loop
			for l := range tags {
				tags[l] = "TT-" + strconv.Itoa(1+l)
				ls = append(ls, fourWire(tags[l]))
			}
			h.SetLoops(ls)
			i := 0
			for b.Loop() {
				for range 5 {
					s := sampleAt(i)
					for _, tag := range tags {
						h.Append(tag, &s)
					}
					i++
				}
				if err := h.Flush(b.Context()); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*5*float64(loops)/b.Elapsed().Seconds(), "samples/s")
		})
	}
}

// A reference names a series of one database only; in another it may name the
// series of another loop, and the database would believe it.
func TestReferencesEndWithTheirDatabase(t *testing.T) {
	own := func(l int, at time.Time) *measure.Sample {
		s := sampleAt(0)
		s.At = at
		s.Sensor = quantity.Ohm(float64(100000+l) / 1000)
		return &s
	}
	check := func(t *testing.T, h *History, n int) {
		t.Helper()
		for l := 1; l <= 2; l++ {
			ps, err := h.Range(t.Context(), "TT-"+strconv.Itoa(l), Sensor, start.AddDate(-1, 0, 0), start.AddDate(1, 0, 0))
			if err != nil || len(ps) != n {
				t.Fatalf("TT-%d: %d points, want %d; %v", l, len(ps), n, err)
			}
			for _, p := range ps {
				if p.Value != float64(100000+l)/1000 {
					t.Fatalf("TT-%d has %v of the other loop", l, p)
				}
			}
		}
	}
	t.Run("blocks of the past", func(t *testing.T) {
		h := open(t, t.TempDir(), Options{})
		err := h.Import(t.Context(), func(yield func(string, *measure.Sample) bool) {
			for month := range 4 { // the order of the loops changes from block to block
				for i := range 2 {
					l := 1 + (i+month)%2
					if !yield("TT-"+strconv.Itoa(l), own(l, start.AddDate(0, month-6, 0))) {
						return
					}
				}
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		check(t, h, 4)
	})
	t.Run("reopened", func(t *testing.T) {
		h := open(t, t.TempDir(), Options{Flush: time.Hour})
		put := func(ls ...int) {
			for _, l := range ls {
				h.Append("TT-"+strconv.Itoa(l), own(l, start))
			}
			if err := h.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		put(1, 2)
		err := h.ask(t.Context(), func() error { // as if its log had been lost
			return errors.Join(os.RemoveAll(filepath.Join(h.dir, "wal")), h.reopen())
		})
		if err != nil {
			t.Fatal(err)
		}
		put(2, 1)
		check(t, h, 1)
	})
}
