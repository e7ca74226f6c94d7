package drift

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// worn returns an engine with a history: a baseline and a contact that grows.
func worn(t testing.TB) *Engine {
	t.Helper()
	c := newCable(3)
	c.fault = growth(measure.B1, 25, 0.004)
	e := mustEngine(t, testSpec(t, "TT-3101", wiring.ThreeWireDual, wiring.AllLeads))
	c.feed(e, 0, 40*perDay+17)
	if e.s.Found[aboutContact].Kind == 0 {
		t.Fatal("the history has no finding; a snapshot of it shows little")
	}
	return e
}

func TestSnapshotBringsEveryFieldBack(t *testing.T) {
	e := worn(t)
	fill(reflect.ValueOf(&e.s).Elem(), new(uint64)) // every field another value, so that none can be forgotten
	b := e.Snapshot([]byte("before"))
	if !bytes.HasPrefix(b, []byte("before")) {
		t.Fatal("Snapshot did not append")
	}
	r := mustEngine(t, e.m.spec)
	if err := r.Restore(b[len("before"):]); err != nil {
		t.Fatal(err)
	}
	if r.s != e.s {
		t.Fatal("the restored state differs")
	}
	if again := r.Snapshot(nil); !bytes.Equal(again, b[len("before"):]) {
		t.Fatal("a snapshot of what was restored differs")
	}
}

// fill sets every field to another number.
func fill(v reflect.Value, n *uint64) {
	*n++
	switch v.Kind() {
	case reflect.Struct:
		for _, f := range v.Fields() {
			fill(f, n)
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float32, reflect.Float64:
		v.SetFloat(float64(*n) + 0.25)
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		v.SetInt(-int64(*n % 100))
	default:
		v.SetUint(*n % 200)
	}
}

func TestSnapshotKeepsNaN(t *testing.T) {
	e := worn(t)
	e.s.Ch[0].Prev, e.s.Copper.Ring[0] = float32(math.NaN()), float32(math.Inf(-1))
	r := mustEngine(t, e.m.spec)
	if err := r.Restore(e.Snapshot(nil)); err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(float64(r.s.Ch[0].Prev)) || !math.IsInf(float64(r.s.Copper.Ring[0]), -1) {
		t.Fatalf("got %v and %v, want NaN and −Inf", r.s.Ch[0].Prev, r.s.Copper.Ring[0])
	}
}

func TestRestoreRefuses(t *testing.T) {
	e := worn(t)
	good := e.Snapshot(nil)
	changed := func(change func(*diagnostics.Spec)) *diagnostics.Spec {
		s := *e.m.spec
		change(&s)
		return &s
	}
	relabelled := func(change func(*label)) []byte {
		l, body, err := unseal(good)
		if err != nil {
			t.Fatal(err)
		}
		change(&l)
		b := l.append(nil)
		at := len(b)
		b = append(append(b, 0, 0, 0, 0), body...)
		return seal(b, 0, at)
	}
	pt1000, err := rtd.ParseSensor("Pt1000")
	if err != nil {
		t.Fatal(err)
	}
	format := bytes.Clone(good)
	format[5]++
	tests := []struct {
		name string
		spec *diagnostics.Spec
		b    []byte
		want string
	}{
		{"nothing", e.m.spec, nil, "not a snapshot"},
		{"something else", e.m.spec, []byte("PK\x03\x04 and so on, long enough to be read"), "not a snapshot"},
		{"magic only", e.m.spec, []byte(snapshotMagic), "damaged"},
		{"half", e.m.spec, good[:len(good)/2], "damaged"},
		{"longer", e.m.spec, append(bytes.Clone(good), 0), "damaged"},
		{"other format", e.m.spec, format, "format 2"},
		{"other version", e.m.spec, relabelled(func(l *label) { l.version = "drift/0" }), "written by engine drift/0"},
		{"other fields", e.m.spec, relabelled(func(l *label) { l.layout++ }), "other fields"},
		{"of a site", e.m.spec, NewSite(nil).Snapshot(nil), "sort 's'"},
		{"other tag", changed(func(s *diagnostics.Spec) { s.Tag = "TT-3102" }), good, "loop TT-3101"},
		{"other wires", changed(func(s *diagnostics.Spec) { s.Wires = 4 }), good, "3 wires"},
		{"other method", changed(func(s *diagnostics.Spec) { s.Method = wiring.ThreeWireHalf }), good, "three-wire-dual"},
		{"other report level", changed(func(s *diagnostics.Spec) { s.Reports = wiring.PairsOnly }), good, "reports"},
		{"other sensor", changed(func(s *diagnostics.Spec) { s.Sensor = pt1000 }), good, "Pt100 "},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r := mustEngine(t, test.spec)
			r.s.Last = 42
			was := r.s
			err := r.Restore(test.b)
			if err == nil || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), test.spec.Tag) {
				t.Errorf("error %q, want the tag and %q", err, test.want)
			}
			if r.s != was {
				t.Error("a refused snapshot changed the engine")
			}
		})
	}
}

func TestEveryFlippedBitIsFound(t *testing.T) {
	e := worn(t)
	good := e.Snapshot(nil)
	was := e.s
	for i := range good {
		b := bytes.Clone(good)
		b[i] ^= 1 << (i % 8)
		if e.Restore(b) == nil {
			t.Fatalf("a flipped bit in byte %d of %d was taken", i, len(b))
		}
	}
	if e.s != was {
		t.Fatal("a refused snapshot changed the engine")
	}
}

func TestRestoreTakesAnotherInterval(t *testing.T) {
	e := worn(t)
	s := *e.m.spec
	s.Interval, s.Box = time.Second, "JB-9"
	r := mustEngine(t, &s)
	if err := r.Restore(e.Snapshot(nil)); err != nil || r.s != e.s {
		t.Fatalf("error %v, same state %v; want the state taken", err, r.s == e.s)
	}
}

// A new limit makes the daily shares of the old one meaningless; what was learnt
// of the copper and the contacts stays.
func TestAnotherLimitForgetsTheDaysOnly(t *testing.T) {
	e := worn(t)
	s := *e.m.spec
	s.LimitHigh = 0.25
	r := mustEngine(t, &s)
	if err := r.Restore(e.Snapshot(nil)); err != nil {
		t.Fatal(err)
	}
	if e.s.Error.Kept == 0 || r.s.Error.Kept != 0 || r.s.Error.Hi != [days]float32{} {
		t.Fatalf("%d days before, %d after; want some and none", e.s.Error.Kept, r.s.Error.Kept)
	}
	r.s.Error = e.s.Error
	if r.s != e.s {
		t.Fatal("more than the days of the error was forgotten")
	}
}

func TestStateIsOfFixedSize(t *testing.T) {
	if n := binary.Size(state{}); n <= 0 || n > 4096 {
		t.Fatalf("state of %d bytes; want fixed size and at most 4096", n)
	}
}

func TestLayoutTellsFieldsApart(t *testing.T) {
	type a struct{ X, Y float32 }
	type b struct{ Y, X float32 }
	type c struct{ X, Y int32 }
	type d struct {
		X, Y float32
		Z    [2]bool
	}
	type e struct {
		X, Y float32
		Z    [3]bool
	}
	seen := map[uint64]string{}
	for _, x := range []any{a{}, b{}, c{}, d{}, e{}} {
		h := layoutOf(reflect.TypeOf(x))
		if other, ok := seen[h]; ok {
			t.Errorf("%T and %s have one layout", x, other)
		}
		seen[h] = fmt.Sprintf("%T", x)
	}
}

func FuzzRestore(f *testing.F) {
	e := worn(f)
	f.Add(e.Snapshot(nil))
	f.Add([]byte(snapshotMagic + "e\x01\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		r := mustEngine(t, e.m.spec)
		was := r.s
		if err := r.Restore(b); err != nil {
			if r.s != was {
				t.Fatal("a refused snapshot changed the engine")
			}
			return
		}
		if !bytes.Equal(r.Snapshot(nil), b) {
			t.Fatal("what was restored is written otherwise")
		}
	})
}

func TestSiteSnapshot(t *testing.T) {
	s := siteOf(t, 6, 2)
	for i := range 3 {
		s.Put(i, wornAt(float64(i)))
	}
	late := wornAt(77)
	late.Since = late.Since.Add(123 * time.Nanosecond)
	s.Put(3, Published{Factor: 1.02})
	late.Rests = true
	s.Put(11, late)
	for i, d := range []float64{3, 3.2, 3.5} { // they stepped, in the other box
		step := wornAt(d)
		step.Kind = finding.LeadStep
		s.Put(7+i, step)
	}
	raised := s.Mark(testStart.Add(30*24*time.Hour), nil)
	if len(raised) != 2 {
		t.Fatalf("%d findings, want the two common causes", len(raised))
	}
	r := siteOf(t, 6, 2)
	if err := r.Restore(s.Snapshot(nil)); err != nil {
		t.Fatal(err)
	}
	if r.last != s.last || r.faults != s.faults || r.followed != s.followed || !slices.Equal(r.wasBad, s.wasBad) || s.faults == 0 || s.followed == 0 {
		t.Errorf("mark %d, %g faults in %g loop-seconds, last bad %v; before %d %g %g %v", r.last, r.faults, r.followed, r.wasBad, s.last, s.faults, s.followed, s.wasBad)
	}
	for i := range 12 {
		if got, want := fmt.Sprint(r.put[i]), fmt.Sprint(s.put[i]); got != want {
			t.Errorf("loop %d put %s, before %s", i, got, want)
		}
		if *r.Neighbour(i) != *s.Neighbour(i) {
			t.Errorf("loop %d hears %v, before %v", i, *r.Neighbour(i), *s.Neighbour(i))
		}
	}
	for i := range s.groups {
		if got, want := fmt.Sprint(r.groups[i].common), fmt.Sprint(s.groups[i].common); got != want {
			t.Errorf("of %s stands %s, before %s", s.groups[i].name, got, want)
		}
	}
	for _, x := range []*Site{s, r} { // a member joins, then all recover
		x.Put(4, wornAt(5))
	}
	compareMarks(t, s, r, testStart.Add(32*24*time.Hour), finding.Updated)
	for _, x := range []*Site{s, r} {
		for i := range 5 {
			x.Put(i, Published{Factor: 1})
		}
	}
	s.Mark(testStart.Add(33*24*time.Hour), nil)
	if err := r.Restore(s.Snapshot(nil)); err != nil { // in the dry spell
		t.Fatal(err)
	}
	compareMarks(t, s, r, testStart.Add(40*24*time.Hour), finding.Cleared)
	if out := r.Mark(testStart.Add(40*24*time.Hour), nil); len(out) != 0 {
		t.Error("the last mark was taken twice")
	}
}

func compareMarks(t *testing.T, a, b *Site, at time.Time, want finding.State) {
	t.Helper()
	x, y := a.Mark(at, nil), b.Mark(at, nil)
	if len(x) != 1 || x[0].State != want {
		t.Fatalf("got %v, want one finding %v", x, want)
	}
	if d := cmp.Diff(printed(x), printed(y)); d != "" {
		t.Errorf("the restored site says otherwise:\n%s", d)
	}
}

// printed writes findings as text: NaN is not equal to itself.
func printed(fs []finding.Finding) []string {
	s := make([]string, len(fs))
	for i, f := range fs {
		c := f.Forecast
		f.Forecast = nil
		s[i] = fmt.Sprintf("%+v %+v", f, c)
	}
	return s
}

func TestSiteRestoreRefuses(t *testing.T) {
	good := siteOf(t, 6, 2).Snapshot(nil)
	for name, test := range map[string]struct {
		site *Site
		b    []byte
		want string
	}{
		"other plant":  {siteOf(t, 5, 2), good, "10 loops"},
		"of a loop":    {siteOf(t, 6, 2), worn(t).Snapshot(nil), "sort 'e'"},
		"half of it":   {siteOf(t, 6, 2), good[:len(good)/2], "damaged"},
		"nothing":      {siteOf(t, 6, 2), nil, "not a snapshot"},
		"one bit gone": {siteOf(t, 6, 2), append(bytes.Clone(good[:90]), append([]byte{good[90] ^ 4}, good[91:]...)...), "damaged"},
	} {
		test.site.Put(0, wornAt(1))
		was := test.site.put[0]
		if err := test.site.Restore(test.b); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want %q", name, err, test.want)
		}
		if test.site.put[0] != was {
			t.Errorf("%s: a refused snapshot changed the site", name)
		}
	}
}

func BenchmarkSnapshot(b *testing.B) { // of 5,000 loops
	e := worn(b)
	buf := e.Snapshot(nil)
	b.Run("write", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			for range 5000 {
				buf = e.Snapshot(buf[:0])
			}
		}
		b.ReportMetric(float64(len(buf)), "B/loop")
	})
	b.Run("read", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			for range 5000 {
				if err := e.Restore(buf); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
