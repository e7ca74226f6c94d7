package history

import (
	"os/signal"
	"syscall"
	"testing"
	"time"
)

// A limit on the size of files stands for a full disk: writes fail half way
// through, as there, and the database on disk must survive it.
func TestAFullDiskLosesNothingThatFitsTheQueue(t *testing.T) {
	signal.Ignore(syscall.SIGXFSZ)
	defer signal.Reset(syscall.SIGXFSZ)
	dir := t.TempDir()
	h, err := Open(dir, Options{Flush: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	h.SetLoops([]Loop{fourWire("TT-1"), fourWire("TT-2")})
	put := func(from, to int, tags ...string) {
		for i := from; i < to; i++ {
			s := sampleAt(i)
			for _, tag := range tags {
				h.Append(tag, &s)
			}
		}
	}
	put(0, 1000, "TT-1")
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	free := limitFiles(t, 64<<10)
	put(1000, 6000, "TT-1", "TT-2") // the latter's series are not in the log yet
	for range 3 {
		if err := h.Flush(t.Context()); err == nil {
			t.Fatal("flush worked on a full disk: the limit does not bite")
		}
	}
	if ps, err := h.Range(t.Context(), "TT-1", LeadA1, start, start.Add(time.Hour)); err != nil || len(ps) < 1000 {
		t.Errorf("%d points, %v: what is stored must stay readable", len(ps), err)
	}
	free()
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	again := open(t, dir, Options{})
	same(t, again, "TT-1", 6000)
	sameFrom(t, again, "TT-2", 1000, 5000)
	if st := h.Stats(); st.Refused+st.Dropped != 0 {
		t.Errorf("%+v: want nothing refused or dropped", st)
	}
}

func limitFiles(t *testing.T, size uint64) (free func()) {
	t.Helper()
	var old syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: old.Max}); err != nil {
		t.Fatal(err)
	}
	free = func() {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(free)
	return free
}
