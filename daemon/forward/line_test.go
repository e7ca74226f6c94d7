package forward

import (
	"math"
	"testing"
	"time"
	"unicode/utf8"

	lp "github.com/influxdata/line-protocol"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// parse reads a line with a parser of the format's makers.
func parse(t *rapid.T, line []byte) lp.Metric {
	p := lp.NewParser(lp.NewMetricHandler())
	ms, err := p.Parse(line)
	if err != nil || len(ms) != 1 {
		t.Fatalf("%d points, %v in %q", len(ms), err, line)
	}
	return ms[0]
}

func TestAnyNameAndNumberIsOneLine(t *testing.T) {
	name := rapid.StringOf(rapid.Rune().Filter(func(r rune) bool { return r != '\\' && r >= ' ' && r != 0x7f && r != utf8.RuneError }))
	rapid.Check(t, func(t *rapid.T) {
		site, area, loop := name.Draw(t, "site"), name.Draw(t, "area"), name.Draw(t, "loop")
		x := rapid.Float64().Draw(t, "x")
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "s"), 0)
		a := diagnostics.Assessment{At: at, Leads: measure.NoLeads(), Error: quantity.DeltaC(x), Quality: measure.Stale}
		m := parse(t, appendPoint(nil, site, area, loop, &a, nil))
		want := map[string]string{"site": site, "area": area, "loop": loop}
		for _, tag := range m.TagList() {
			w := want[tag.Key]
			if w == "" {
				w = "-"
			}
			if tag.Value != w {
				t.Fatalf("tag %s = %q, want %q", tag.Key, tag.Value, w)
			}
			delete(want, tag.Key)
		}
		if len(want) != 0 {
			t.Fatalf("tags missing: %v", want)
		}
		got := map[string]any{}
		for _, f := range m.FieldList() {
			got[f.Key] = f.Value
		}
		if got["quality"] != 2.0 {
			t.Fatalf("quality %v, want 2 as a float", got["quality"])
		}
		v, there := got["error_degC"]
		if known := !math.IsNaN(x) && !math.IsInf(x, 0); there != known || known && v != x {
			t.Fatalf("error_degC %v, want %v", v, x)
		}
	})
}

func TestControlCharactersCannotBreakALine(t *testing.T) {
	got := string(appendPoint(nil, "a\nrtd x=1", "\t", "b\\", nil, &measure.Sample{At: time.Unix(1, 0)}))
	want := `rtd,area=_,loop=b/,site=a_rtd\ x\=1 `
	if got[:len(want)] != want {
		t.Errorf("got  %q\nwant %q…", got, want)
	}
}

func TestAddAllocatesNothing(t *testing.T) {
	f, err := New(Options{URL: "http://localhost:1", Batch: 1 << 20}, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer f.server.close()
	s := measure.Empty(time.Unix(1, 0), measure.Good)
	a := diagnostics.Assessment{At: s.At, Error: 0.0123, U: 0.1}
	f.buffer.now.lines = make([]byte, 0, 1<<20)
	if n := testing.AllocsPerRun(500, func() { f.Add("Larkfield", "Fermentation", "TT-1204", &a, &s) }); n != 0 {
		t.Errorf("%g allocations a point", n)
	}
}

func BenchmarkAdd(b *testing.B) {
	f, err := New(Options{URL: "http://localhost:1"}, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer f.server.close()
	s := measure.Empty(time.Unix(1772352000, 0), measure.Good)
	a := diagnostics.Assessment{At: s.At, Leads: measure.Leads{0.2311, 0.2302, 0.2299, 0.2315}, Sensor: 138.5055, Reading: 100.0012, Error: 0.0123, U: 0.1, Spread: 0.02, Imbalance: -0.0014}
	b.ReportAllocs()
	for b.Loop() {
		f.Add("Larkfield", "Fermentation", "TT-1204", &a, &s)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "points/s")
}
