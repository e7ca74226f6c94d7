package history

import (
	"testing"
	"testing/synctest"
	"time"
)

// A sample is readable and durable one flush interval after it came, without
// anyone asking.
func TestFlushKeepsItsInterval(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		h, err := Open(dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		h.SetLoops([]Loop{fourWire("TT-1")})
		s := sampleAt(0)
		h.Append("TT-1", &s)
		stored := func() uint64 { return h.Stats().Samples }
		<-time.After(DefaultFlush - time.Millisecond) // the bubble's clock
		synctest.Wait()
		if stored() != 0 {
			t.Errorf("stored before the interval: nothing is batched")
		}
		<-time.After(time.Millisecond)
		synctest.Wait()
		if stored() != 1 || h.Stats().Flushes != 1 {
			t.Errorf("%+v after %s: want the sample stored by one flush", h.Stats(), DefaultFlush)
		}
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	})
}

// A burst does not wait for the interval: the owner is told at half the queue.
func TestAHalfFullQueueIsFlushedAtOnce(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		h, err := Open(dir, Options{Queue: 100})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 50 {
			s := sampleAt(i)
			h.Append("TT-1", &s)
		}
		synctest.Wait()
		if st := h.Stats(); st.Samples != 50 {
			t.Errorf("%+v: want all stored without a tick", st)
		}
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	})
}
