package replay

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"testing"
	"time"
)

// BenchmarkReplay is the promise of 300,000 rows a second on one core. With one
// core the whole process has one.
func BenchmarkReplay(b *testing.B) {
	r := record{seed: 1, loops: 100, days: 20, step: 10 * time.Minute}
	in := r.csv()
	for _, form := range []struct {
		name string
		text []byte
	}{{"plain", in}, {"gzip", packed(in)}} {
		for _, cores := range []int{1, runtime.NumCPU()} {
			b.Run(fmt.Sprintf("input=%s/cores=%d", form.name, cores), func(b *testing.B) {
				defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
				rows := int64(0)
				for b.Loop() {
					report, err := Run(context.Background(), bytes.NewReader(form.text), io.Discard, Options{Loops: r.specs(b), Cores: cores, Estimates: time.Hour})
					if err != nil {
						b.Fatal(err)
					}
					rows += report.Rows
				}
				b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
			})
		}
	}
}

// BenchmarkParse is reading alone.
func BenchmarkParse(b *testing.B) {
	r := record{seed: 1, loops: 100, days: 1, step: 10 * time.Minute}
	in := r.csv()
	body := in[bytes.IndexByte(in, '\n')+1:]
	l, err := readHeader(in[:bytes.IndexByte(in, '\n')], nil)
	if err != nil {
		b.Fatal(err)
	}
	tags := make([]string, r.loops)
	for i, s := range r.specs(b) {
		tags[i] = s.Tag
	}
	p := newParser(l, tags)
	var out parsed
	rows := 0
	b.ReportAllocs()
	for b.Loop() {
		p.parse(body, &out)
		rows += len(out.rows)
	}
	b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
}
