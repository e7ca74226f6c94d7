package replay

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// TestCoresChangeNothing: the same bytes for any number of cores. Each mark has
// more rows than five hands need to share them here.
func TestCoresChangeNothing(t *testing.T) {
	for seed := range uint64(2) {
		r := record{seed: seed, loops: 20, days: 2, step: 150 * time.Second}
		in := r.csv()
		want, report := mustRun(t, in, Options{Loops: r.specs(t), Cores: 1, Estimates: time.Hour})
		if want == "" || report.Rows < 20_000 || report.Bad == 0 {
			t.Fatalf("%d bytes, report %+v: nothing to compare", len(want), report)
		}
		for _, cores := range []int{2, 5} {
			got, again := mustRun(t, in, Options{Loops: r.specs(t), Cores: cores, Estimates: time.Hour, few: 8})
			if got != want || again != report {
				t.Errorf("seed %d, %d cores: %d bytes, report %+v; with one core %d bytes, %+v", seed, cores, len(got), again, len(want), report)
			}
		}
	}
}

// TestOnlyThePast: what a replay says about the time before a cut does not
// change with what comes after it.
func TestOnlyThePast(t *testing.T) {
	r := record{seed: 9, loops: 12, days: 12, step: 10 * time.Minute}
	in := r.csv()
	full, whole := mustRun(t, in, Options{Loops: r.specs(t), Cores: 2, Estimates: time.Hour})
	if most := int64(r.loops * (int(r.days)*24 - 1)); whole.Estimates < most-int64(r.loops)*24 || whole.Estimates > most { // the engine may take a day to begin
		t.Errorf("%d estimates, want nearly %d", whole.Estimates, most)
	}
	for _, share := range []float64{0.4, 0.77} {
		cut := bytes.LastIndexByte(in[:int(share*float64(len(in)))], '\n') + 1
		half, report := mustRun(t, in[:cut], Options{Loops: r.specs(t), Cores: 2, Estimates: time.Hour})
		until := report.Until.Add(-25 * time.Hour) // lines are held for a day
		a, b := before(t, full, until), before(t, half, until)
		if d := cmp.Diff(a, b); d != "" || len(a) == 0 {
			t.Errorf("%d lines before %v differ: %s", len(a), until, d)
		}
	}
}

// before returns the lines of a time before t, and checks that all are in order.
func before(t *testing.T, out string, until time.Time) []string {
	var lines []string
	var last time.Time
	for _, l := range strings.Split(strings.TrimSuffix(out, "\n"), "\n") {
		var v struct{ Time time.Time }
		if err := json.Unmarshal([]byte(l), &v); err != nil {
			t.Fatalf("%q: %v", l, err)
		}
		if v.Time.Before(last) {
			t.Errorf("line of %v after one of %v", v.Time, last)
		}
		last = v.Time
		if v.Time.Before(until) {
			lines = append(lines, l)
		}
	}
	return lines
}

// TestBadRows: each bad row is reported with its line and the others count.
func TestBadRows(t *testing.T) {
	r := record{loops: 2}
	rows := []struct{ text, want string }{
		{"2026-03-01T00:00:00Z,TT-3100,0.5,0.5,0.5,119.4,50", ""},
		{"2026-03-01T00:00:00Z,TT-3101,NaN,,0.5,119.4,50", ""},
		{"yesterday,TT-3100,0.5,0.5,0.5,119.4,50", `time "yesterday" is not RFC 3339, as in 2026-03-01T12:00:00Z, of 1970 to 2200`},
		{"2026-03-01T00:10:00Z,TT-9,0.5,0.5,0.5,119.4,50", `loop "TT-9" is not in the plant`},
		{"2026-03-01T00:10:00Z,TT-3100,0;5,0.5,0.5,119.4,50", `a1 "0;5" is not a number`},
		{"2026-03-01T00:10:00Z,TT-3100,0.5,0.5,0.5,119.4", "6 fields where the header has 7"},
		{"2026-03-01T00:10:00Z,TT-3100,0.5,0.5,0.5,119.4,50,1", "more than the 7 fields of the header"},
		{"2026-03-01T00:10:00Z,TT-3100,0.5,0.5,0.5,inf,50", `sensor "inf" is not a number`},
		{"", ""},
		{`"2026-03-01T00:10:00Z","TT-3100","0.5",0.5,0.5,119.4,50` + "\r", ""},
		{`2026-03-01T00:10:00Z,"TT-3101,0.5,0.5,0.5,119.4,50`, `not CSV: extraneous or missing " in quoted-field`},
		{"2026-03-01T00:10:00Z,TT-3100,0.5,0.5,0.5,119.4,50", "out of order: not later than the row before of TT-3100"},
		{"2026-03-01T00:20:00Z,TT-3100,0.5,0.5,0.5,119.4,50", ""},
		{"2026-03-01T00:19:00Z,TT-3101,0.5,0.5,0.5,119.4,50", "out of order: earlier than the last 10-minute mark"},
		{"2026-03-01T00:20:00Z," + strings.Repeat("x", maxLine) + ",0.5,0.5,0.5,119.4,50", "longer than 65536 bytes"},
		{"\x00\xff", "1 fields where the header has 7"},
		{"2026-03-01T00:21:00Z,TT-3101,0.5,0.5,0.5,119.4,50", ""},
		{"2026-03-01T00:20:30Z,TT-3100,0.5,0.5,0.5,119.4,50", ""}, // late, but its loop's next and after the mark
	}
	text := "time,loop,a1,b1,b2,sensor,reading\n"
	var want []string
	for i, row := range rows {
		text += row.text + "\n"
		if row.want != "" {
			want = append(want, fmt.Sprintf("%d: %s", i+2, row.want))
		}
	}
	var got []string
	_, report := mustRun(t, []byte(text), Options{Loops: r.specs(t), Bad: func(line int64, p string) { got = append(got, fmt.Sprintf("%d: %s", line, p)) }})
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("bad rows (-want +got):\n%s", d)
	}
	if report.Rows != 6 || report.Bad != int64(len(want)) || report.Late != 1 || report.Sound() {
		t.Errorf("report %+v", report)
	}
}

// TestClockGoneWrong: one row far ahead, at any place, spoils none but itself.
func TestClockGoneWrong(t *testing.T) {
	r := record{seed: 3, loops: 3, days: 1, step: 10 * time.Minute}
	in := strings.ReplaceAll(string(r.csv()), "TT-9999", "TT-3100") // no other bad rows: these are out of order
	lines := strings.SplitAfter(in, "\n")
	want, clean := mustRun(t, []byte(in), Options{Loops: r.specs(t)})
	for _, at := range []int{1, 2, 77, 200, len(lines) - 70} {
		wrong := strings.Join(lines[:at], "") + "2099-01-01T00:00:00Z,TT-3101,9,9,9,9,9\n" + strings.Join(lines[at:], "")
		got, report := mustRun(t, []byte(wrong), Options{Loops: r.specs(t)})
		if report.Rows != clean.Rows || report.Bad != clean.Bad+1 || got != want {
			t.Errorf("before line %d: report %+v, want %+v with one more bad", at+1, report, clean)
		}
	}
}

// TestLongSilence: a gap in the whole record is no clock gone wrong.
func TestLongSilence(t *testing.T) {
	r := record{loops: 1}
	text := "time,loop,a1\n2026-03-01T00:00:00Z,TT-3100,0.5\n2026-09-01T00:00:00Z,TT-3100,0.5\n2026-09-01T00:10:00Z,TT-3100,0.5\n"
	if _, report := mustRun(t, []byte(text), Options{Loops: r.specs(t)}); report.Rows != 3 || !report.Sound() {
		t.Errorf("report %+v", report)
	}
}

func TestHeader(t *testing.T) {
	tests := []struct{ head, want string }{
		{"time,loop,a1", ""},
		{"\xEF\xBB\xBFreading , loop,time\r", ""},
		{`"time","loop","a1"`, ""},
		{"Stamp,loop,a1", ""}, // mapped
		{"", "line 1: no header line; want time,loop and columns of values"},
		{"time,loop", "line 1: no column with values; want any of a1, a2, b1, b2, loop_a, loop_b, sensor, reading, device_temp"},
		{"time,a1", "line 1: columns time and loop are needed, got \"time,a1\""},
		{"time,loop,a1,a1", "line 1: column a1 is given twice"},
		{"time,loop,a1,temp", `line 1: unknown column "temp"; want time, loop and any of a1, a2, b1, b2, loop_a, loop_b, sensor, reading, device_temp, or map it`},
	}
	r := record{loops: 1}
	for _, c := range tests {
		_, err := Run(context.Background(), strings.NewReader(c.head+"\n"), io.Discard, Options{Loops: r.specs(t), Columns: map[string]string{"Stamp": "time"}})
		if got := fmt.Sprint(err); got != c.want && !(err == nil && c.want == "") {
			t.Errorf("%q: %q, want %q", c.head, got, c.want)
		}
	}
}

// TestInputForms: plain, packed, packed in two parts, without a last newline.
func TestInputForms(t *testing.T) {
	r := record{seed: 4, loops: 10, days: 3, step: 10 * time.Minute}
	in := r.csv()
	want, report := mustRun(t, in, Options{Loops: r.specs(t)})
	half := bytes.IndexByte(in[len(in)/2:], '\n') + len(in)/2 + 1
	for name, form := range map[string][]byte{
		"gzip": packed(in), "two gzip members": append(packed(in[:half]), packed(in[half:])...), "no last newline": bytes.TrimSuffix(in, []byte("\n")),
		"CRLF": bytes.ReplaceAll(in, []byte("\n"), []byte("\r\n")),
	} {
		if got, again := mustRun(t, form, Options{Loops: r.specs(t)}); got != want || again != report {
			t.Errorf("%s: report %+v, want %+v", name, again, report)
		}
	}
	z := packed(in)
	var out bytes.Buffer
	got, err := Run(context.Background(), bytes.NewReader(z[:len(z)/2]), &out, Options{Loops: r.specs(t)})
	if !errors.Is(err, io.ErrUnexpectedEOF) || got.Rows == 0 || !strings.Contains(err.Error(), "ends early, after line") {
		t.Errorf("cut gzip: %v, report %+v", err, got)
	}
}

func packed(b []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	z.Write(b)
	z.Close()
	return out.Bytes()
}

// TestBlocksKeepLines: however the input arrives and wherever blocks end, every
// line comes out once, with its number.
func TestBlocksKeepLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lengths := rapid.SliceOfN(rapid.SampledFrom([]int{0, 1, 50, 1000, maxLine, blockSize - 1, blockSize, 3*blockSize + 7}), 1, 6).Draw(t, "lengths")
		var text bytes.Buffer
		for i, n := range lengths {
			text.WriteString(strings.Repeat(string(rune('a'+i)), n) + "\n")
		}
		in := lines{in: &slowReader{text.Bytes(), rapid.SampledFrom([]int{1000, 4096, blockSize}).Draw(t, "chunk")}, line: 2}
		got := map[int64]int{}
		var b block
		for in.next(&b) {
			n := b.first
			for _, l := range bytes.SplitAfter(b.text, []byte("\n")) {
				if len(l) > 0 {
					got[n] += len(bytes.TrimSuffix(l, []byte("\n")))
				}
				n += int64(bytes.Count(l, []byte("\n")))
			}
		}
		if !errors.Is(in.end, io.EOF) {
			t.Fatal(in.end)
		}
		for i, n := range lengths {
			if have := got[int64(i+2)]; have != n && !(n > maxLine && have > maxLine && have <= n) {
				t.Fatalf("line %d: %d bytes, want %d of %v", i+2, have, n, lengths)
			}
		}
	})
}

type slowReader struct {
	rest  []byte
	chunk int
}

func (r *slowReader) Read(b []byte) (int, error) {
	if len(r.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(b[:min(len(b), r.chunk)], r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

// TestCancel: a cancelled replay returns, with what it had counted.
func TestCancel(t *testing.T) {
	r := record{seed: 5, loops: 30, days: 5, step: 10 * time.Minute}
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Run(ctx, bytes.NewReader(r.csv()), io.Discard, Options{Loops: r.specs(t), Progress: func(int64) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// TestOutputFails: an output that cannot be written ends the replay with its
// error.
func TestOutputFails(t *testing.T) {
	r := record{seed: 6, loops: 12, days: 12, step: 10 * time.Minute}
	_, err := Run(context.Background(), bytes.NewReader(r.csv()), fullWriter{}, Options{Loops: r.specs(t), Estimates: time.Hour})
	if err == nil || !strings.Contains(err.Error(), "write the output: disk full") {
		t.Errorf("error %v", err)
	}
}

type fullWriter struct{}

func (fullWriter) Write([]byte) (int, error) { return 0, errors.New("disk full") }

// FuzzRows: any text after a good header is rows, good or bad; all are counted.
func FuzzRows(f *testing.F) {
	f.Add("2026-03-01T00:00:00Z,TT-3100,0.5\n")
	f.Add("\"2026-03-01T00:00:00Z\",TT-3100,\r\n\n2099-01-01T00:00:00Z,TT-3100,1\n2026-03-01T00:00:00Z,TT-3100,0.5")
	r := record{loops: 2}
	specs := r.specs(f)
	f.Fuzz(func(t *testing.T, text string) {
		_, report := mustRun(t, []byte("time,loop,a1\n"+text), Options{Loops: specs, Cores: 2})
		rows := int64(0)
		for _, l := range strings.Split(text, "\n") {
			if strings.TrimSuffix(l, "\r") != "" {
				rows++
			}
		}
		if report.Rows+report.Bad != rows {
			t.Fatalf("%d good and %d bad of %d rows", report.Rows, report.Bad, rows)
		}
	})
}

// TestEstimateBeforeASilence: a loop that falls silent for hours, while others go
// on, still gets the estimate of its last hour, in its place.
func TestEstimateBeforeASilence(t *testing.T) {
	r := record{seed: 8, loops: 2, days: 3, step: 10 * time.Minute}
	var in bytes.Buffer
	for l := range strings.Lines(string(r.csv())) {
		at, rest, _ := strings.Cut(l, ",")
		if !strings.HasPrefix(rest, "TT-3101") || at < "2026-03-02T12:00:00Z" || at >= "2026-03-02T17:00:00Z" {
			in.WriteString(l)
		}
	}
	out, _ := mustRun(t, in.Bytes(), Options{Loops: r.specs(t), Estimates: time.Hour})
	before(t, out, time.Time{}) // in order
	for hour, want := range map[string]bool{"11": true, "12": true, "13": false, "16": false, "18": true} {
		line := fmt.Sprintf(`"time":"2026-03-02T%s:00:00Z","loop":"TT-3101"`, hour)
		if got := strings.Contains(out, line); got != want {
			t.Errorf("estimate of TT-3101 at %s:00: %v, want %v", hour, got, want)
		}
	}
}
