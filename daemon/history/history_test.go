package history

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

var start = time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)

func fourWire(tag string) Loop {
	l := Loop{Tag: tag}
	for q := LeadA1; q <= LeadB2; q++ {
		l.Resolution[q] = 0.0001
	}
	l.Resolution[Sensor], l.Resolution[Reading], l.Resolution[DeviceTemp] = 0.001, 0.001, 0.1
	return l
}

// sampleAt is the i-th sample at 1 s, with numbers on the grid of fourWire as a
// transmitter's registers give them.
func sampleAt(i int) measure.Sample {
	s := measure.Empty(start.Add(time.Duration(i)*time.Second), measure.Good)
	for l := range s.Leads {
		s.Leads[l] = quantity.Ohm(float64(2300+l+(i*7)%5) / 10000)
	}
	s.Sensor = quantity.Ohm(float64(138505+i%11) / 1000)
	s.Reading = quantity.DegC(float64(100000+i%13) / 1000)
	s.DeviceTemp = quantity.DegC(float64(312+i/600%9) / 10)
	return s
}

func open(t testing.TB, dir string, o Options) *History {
	t.Helper()
	h, err := Open(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	})
	return h
}

// same checks that a loop has exactly the first n samples.
func same(t *testing.T, h *History, tag string, n int) {
	t.Helper()
	sameFrom(t, h, tag, 0, n)
}

func sameFrom(t *testing.T, h *History, tag string, first, n int) {
	t.Helper()
	i := first
	err := h.Replay(t.Context(), tag, start, start.Add(1000*time.Hour), func(got *measure.Sample) error {
		if want := sampleAt(i); !equal(got, &want) {
			t.Fatalf("sample %d: got  %+v\nwant %+v", i, *got, want)
		}
		i++
		return nil
	})
	if err != nil || i != first+n {
		t.Fatalf("%d samples read back, want %d; %v", i-first, n, err)
	}
}

// equal compares bit for bit; every absent value is one NaN.
func equal(a, b *measure.Sample) bool {
	var x, y [quantities]float64
	unpack(a, &x)
	unpack(b, &y)
	for q := range x {
		if math.Float64bits(x[q]) != math.Float64bits(y[q]) && !(math.IsNaN(x[q]) && math.IsNaN(y[q])) {
			return false
		}
	}
	return a.At.Equal(b.At)
}

func TestSamplesComeBackAfterAReopen(t *testing.T) {
	dir := t.TempDir()
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	h.SetLoops([]Loop{fourWire("TT-1")})
	for i := range 5000 {
		s := sampleAt(i)
		h.Append("TT-1", &s)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	st := h.Stats()
	if st.Samples != 5000 || st.Values != 5000*8 || st.OffGrid+st.Refused+st.Dropped != 0 {
		t.Errorf("%+v: want 5000 samples of 8 numbers, all on the grid", st)
	}
	same(t, open(t, dir, Options{}), "TT-1", 5000)
}

func TestRangeIsHalfOpen(t *testing.T) {
	h := open(t, t.TempDir(), Options{})
	h.SetLoops([]Loop{fourWire("TT-1")})
	for i := range 10 {
		s := sampleAt(i)
		h.Append("TT-1", &s)
		h.Append("TT-2", &s) // a loop nobody announced
	}
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, tag := range []string{"TT-1", "TT-2"} {
		ps, err := h.Range(t.Context(), tag, LeadB1, start.Add(3*time.Second), start.Add(6*time.Second))
		if err != nil || len(ps) != 3 {
			t.Fatalf("%s: %v %v, want 3 points", tag, ps, err)
		}
		for i, p := range ps {
			if w := sampleAt(3 + i); !p.At.Equal(w.At) || p.Value != float64(w.Leads[measure.B1]) {
				t.Errorf("%s: point %d = %v, want %v", tag, i, p, w.Leads[measure.B1])
			}
		}
	}
	after := start.Add(3*time.Second + time.Nanosecond)
	if ps, err := h.Range(t.Context(), "TT-1", LeadB1, after, after.Add(time.Second)); err != nil || len(ps) != 1 || !ps[0].At.Equal(start.Add(4*time.Second)) {
		t.Errorf("from a nanosecond after a sample: %v %v, want the next one alone", ps, err)
	}
	if ps, err := h.Range(t.Context(), "TT-3", LeadB1, start, start.Add(time.Hour)); err != nil || len(ps) != 0 {
		t.Errorf("unknown loop: %v %v", ps, err)
	}
	if ps, err := h.Range(t.Context(), "TT-1", LeadB1, start.Add(time.Hour), start); err != nil || len(ps) != 0 {
		t.Errorf("reversed time: %v %v", ps, err)
	}
}

// Whatever the numbers, resolutions and orders of arrival: what is stored comes
// back bit for bit.
func TestEveryValueComesBack(t *testing.T) {
	steps := rapid.SampledFrom([]float64{0, 1, 0.5, 0.1, 0.01, 0.001, 0.0001, 0.00025, 1e-6, 0.003, 1.0 / 3, math.NaN(), math.Inf(1), -1})
	h := open(t, t.TempDir(), Options{})
	cases := 0
	rapid.Check(t, func(rt *rapid.T) {
		cases++
		l := Loop{Tag: "TT-" + strconv.Itoa(cases)}
		step := steps.Draw(rt, "step")
		for q := LeadA1; q < Quality; q++ {
			l.Resolution[q] = step
		}
		h.SetLoops([]Loop{l})
		n := rapid.IntRange(1, 40).Draw(rt, "n")
		order := rapid.Permutation(upTo(n)).Draw(rt, "order")
		want := make([]measure.Sample, n)
		for _, i := range order {
			want[i] = measure.Empty(start.Add(time.Duration(i)*time.Second), measure.Quality(rapid.IntRange(0, 9).Draw(rt, "quality")))
			for q := LeadA1; q < Quality; q++ {
				pack(&want[i], q, anyValue(rt, step))
			}
			h.Append(l.Tag, &want[i])
		}
		if err := h.Flush(t.Context()); err != nil {
			rt.Fatal(err)
		}
		i := 0
		err := h.Replay(t.Context(), l.Tag, start, start.Add(time.Hour), func(s *measure.Sample) error {
			if !equal(s, &want[i]) {
				rt.Fatalf("step %g, sample %d: got  %+v\nwant %+v", step, i, *s, want[i])
			}
			i++
			return nil
		})
		if st := h.Stats(); err != nil || i != n || st.Refused != 0 {
			rt.Fatalf("%d of %d samples, %v, %+v", i, n, err, st)
		}
	})
}

func upTo(n int) []int {
	is := make([]int, n)
	for i := range is {
		is[i] = i
	}
	return is
}

// anyValue draws what a register map can yield: on the grid by product, by
// quotient or in single precision, or anything at all.
func anyValue(t *rapid.T, step float64) float64 {
	n := float64(rapid.Int32().Draw(t, "n"))
	switch rapid.IntRange(0, 4).Draw(t, "how") {
	case 0:
		return n * step
	case 1:
		return n / math.Round(1/step)
	case 2:
		return float64(float32(n / math.Round(1/step)))
	case 3:
		return math.NaN()
	}
	return rapid.Float64().Draw(t, "x")
}

func TestOffGridIsCountedAndKept(t *testing.T) {
	h := open(t, t.TempDir(), Options{})
	h.SetLoops([]Loop{fourWire("TT-1")})
	s := sampleAt(0)
	s.Leads[measure.A1] = 0.23005001
	h.Append("TT-1", &s)
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	ps, err := h.Range(t.Context(), "TT-1", LeadA1, start, start.Add(time.Second))
	if err != nil || len(ps) != 1 || ps[0].Value != 0.23005001 {
		t.Errorf("%v %v", ps, err)
	}
	if st := h.Stats(); st.OffGrid != 1 {
		t.Errorf("%+v: want one value off the grid", st)
	}
}

func TestAChangedResolutionKeepsTheOldValues(t *testing.T) {
	h := open(t, t.TempDir(), Options{})
	for i, step := range []float64{0.0001, 0.001, 0.0001} {
		l := fourWire("TT-1")
		l.Resolution[LeadA1] = step
		h.SetLoops([]Loop{l})
		s := sampleAt(i)
		s.Leads[measure.A1] = quantity.Ohm(float64(7*(i+1)) / math.Round(1/step))
		h.Append("TT-1", &s)
		if err := h.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	ps, err := h.Range(t.Context(), "TT-1", LeadA1, start, start.Add(time.Minute))
	if err != nil || len(ps) != 3 || ps[0].Value != 0.0007 || ps[1].Value != 0.014 || ps[2].Value != 0.0021 {
		t.Errorf("%v %v, want 0.0007 0.014 0.0021", ps, err)
	}
}

func TestASecondValueForATimeIsRefused(t *testing.T) {
	h := open(t, t.TempDir(), Options{})
	h.SetLoops([]Loop{fourWire("TT-1")})
	s := sampleAt(0)
	h.Append("TT-1", &s)
	h.Append("TT-1", &s) // the same again is no news
	s.Sensor += 0.001
	h.Append("TT-1", &s)
	old := sampleAt(0)
	old.At = start.Add(-2 * time.Hour) // beyond the window of 1 h
	h.Append("TT-1", &old)
	if err := h.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	st := h.Stats()
	if st.Refused != 1+8 || st.Refusal == "" {
		t.Errorf("%+v: want the one changed number and the 8 numbers too old refused", st)
	}
	ps, _ := h.Range(t.Context(), "TT-1", Sensor, start, start.Add(time.Second))
	if len(ps) != 1 || ps[0].Value != float64(sampleAt(0).Sensor) {
		t.Errorf("%v: the first value stands", ps)
	}
}

func TestAFullQueueDropsTheOldest(t *testing.T) {
	var r ring
	r.bound = 300
	l := newLoop(Loop{Tag: "TT-1"})
	for i := range 1000 {
		s := sampleAt(i)
		r.push(l, &s)
	}
	got := r.take(make([]entry, 0, 1000))
	if waiting, dropped := r.state(); len(got) != 300 || dropped != 700 || waiting != 0 {
		t.Fatalf("%d taken, %d dropped, %d left; want 300, 700, 0", len(got), dropped, waiting)
	}
	for i, e := range got {
		if want := sampleAt(700 + i).At; !e.sample.At.Equal(want) {
			t.Fatalf("entry %d is of %s, want the newest 300 in order", i, e.sample.At)
		}
	}
}

func TestAFailedFlushKeepsItsSamples(t *testing.T) {
	dir := t.TempDir()
	h := open(t, dir, Options{Flush: time.Hour})
	h.SetLoops([]Loop{fourWire("TT-1")})
	for i := range 10 {
		s := sampleAt(i)
		h.Append("TT-1", &s)
	}
	wal := filepath.Join(dir, "history", "wal")
	if err := os.Rename(wal, wal+"-gone"); err != nil { // the sync cannot find its segment
		t.Fatal(err)
	}
	if err := h.Flush(t.Context()); err == nil {
		t.Error("a flush that cannot sync must fail")
	}
	if st := h.Stats(); st.Failures != 1 || !strings.Contains(st.Problem, "no such file") {
		t.Errorf("%+v: want one failure and why", st)
	}
	if err := os.Rename(wal+"-gone", wal); err != nil {
		t.Fatal(err)
	}
	if err := h.Flush(t.Context()); err != nil {
		t.Error(err)
	}
	if st := h.Stats(); st.Problem != "" {
		t.Errorf("%+v: the problem is over", st)
	}
	same(t, h, "TT-1", 10)
}

func TestClosedHistoryAnswers(t *testing.T) {
	h := open(t, t.TempDir(), Options{})
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	if err := h.Flush(t.Context()); err != ErrClosed {
		t.Errorf("Flush: %v", err)
	}
	if _, err := h.Range(t.Context(), "TT-1", LeadA1, start, start.Add(1)); err != nil && err != ErrClosed {
		t.Errorf("Range: %v", err)
	}
}

func TestTwoHistoriesNeverShareAFolder(t *testing.T) {
	dir := t.TempDir()
	open(t, dir, Options{})
	if _, err := Open(dir, Options{}); err == nil || !strings.Contains(err.Error(), "another daemon") {
		t.Errorf("second Open: %v", err)
	}
}

func TestAppendAllocatesNothing(t *testing.T) {
	h := open(t, t.TempDir(), Options{Flush: time.Hour, Queue: 1024})
	h.SetLoops([]Loop{fourWire("TT-1")})
	s := sampleAt(0)
	for range 1024 { // the ring has its full size
		h.Append("TT-1", &s)
	}
	if err := h.Flush(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(400, func() { h.Append("TT-1", &s) }); n != 0 {
		t.Errorf("%g allocations a sample", n)
	}
}

func TestResolutionOfAProfile(t *testing.T) {
	p := &devices.Profile{Fields: []devices.Field{
		{Quantity: devices.LeadA1, Type: devices.Uint16, Scale: 1, Unit: "mOhm"},
		{Quantity: devices.SensorOhm, Type: devices.Int32, Scale: 0.001, Unit: "Ohm"},
		{Quantity: devices.ReadingDegC, Type: devices.Float32, Scale: 1, Unit: "degC", Resolution: 0.01},
		{Quantity: devices.DeviceTempDegC, Type: devices.Int16, Scale: 0.1, Unit: "degF"},
		{Quantity: devices.LeadB1, Type: devices.Float32, Scale: 1, Unit: "Ohm"},
		{Quantity: devices.StatusWord, Type: devices.Uint16, Scale: 1},
	}}
	r := ResolutionOf(p)
	want := map[Quantity]float64{LeadA1: 0.001, Sensor: 0.001, Reading: 0.01, DeviceTemp: 0, LeadB1: 0, Quality: 1, Cycle: 0}
	for q, w := range want {
		if r[q] != w {
			t.Errorf("%s: step %g, want %g", q, r[q], w)
		}
	}
}

func TestGridLabelsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := newGrid(rapid.SampledFrom([]float64{1, 0.1, 0.001, 0.003, 1.0 / 3, 7, 2.5e-7}).Draw(t, "step"))
		f := form(rapid.IntRange(0, int(raw)).Draw(t, "form"))
		if f == quotient && g.inverse == 0 {
			return
		}
		n := float64(rapid.Int32().Draw(t, "n"))
		h, e, err := parseGrid(g.label(f))
		if err != nil || h.decode(n, e) != g.decode(n, f) {
			t.Fatalf("%q: %v %v %v", g.label(f), h, e, err)
		}
	})
}
