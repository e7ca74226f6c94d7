package replay

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
)

// Options say how recorded data is replayed.
type Options struct {
	Loops     []*diagnostics.Spec // of the plant; rows of other loops are bad rows
	Cores     int                 // parsers, and engines stepped at once; 0 = all
	Columns   map[string]string   // the site's own names of input columns
	Estimates time.Duration       // whole hours between estimates of each loop; 0 = none
	Explain   string              // tag of the loop whose View goes to Explained; empty = none
	Explained func(*Seen)         // called in time order, on one goroutine
	Bad       func(line int64, problem string)
	Progress  func(rows int64) // called now and then, on one goroutine

	few int // tests share out fewer rows
}

// Report counts what a replay read and wrote.
type Report struct {
	Rows        int64 // good ones, late ones included
	Bad         int64 // skipped, for whatever reason
	Late        int64 // used, though out of order
	Findings    int64
	Estimates   int64
	From, Until time.Time // of the rows used; zero without any
}

// Sound reports whether every row was good and in order.
func (r *Report) Sound() bool { return r.Bad == 0 && r.Late == 0 }

// Run replays the input, CSV or gzipped CSV, and writes one JSON object a line
// to out. It returns what it counted even when it fails.
func Run(ctx context.Context, in io.Reader, out io.Writer, o Options) (Report, error) {
	if o.Estimates < 0 || o.Estimates%time.Hour != 0 {
		return Report{}, fmt.Errorf("estimates every %v: want whole hours", o.Estimates)
	}
	if o.Cores <= 0 {
		o.Cores = runtime.GOMAXPROCS(0)
	}
	text, err := open(in)
	if err != nil {
		return Report{}, err
	}
	head, err := headerLine(text)
	if err != nil {
		return Report{}, err
	}
	l, err := readHeader(head, o.Columns)
	if err != nil {
		return Report{}, err
	}
	w := bufio.NewWriterSize(out, 64<<10)
	f, err := newFollower(&o, w)
	if err != nil {
		return Report{}, err
	}
	err = f.pump(ctx, &lines{in: text, line: 2}, l)
	if ferr := f.finish(); err == nil {
		err = ferr
	}
	if ferr := w.Flush(); err == nil && ferr != nil {
		err = fmt.Errorf("write the output: %w", ferr)
	}
	return f.report, err
}

// pump runs reader, parsers and the follower until the input ends.
func (f *follower) pump(ctx context.Context, in *lines, l layout) error {
	g, ctx := errgroup.WithContext(ctx)
	depth := 2*f.options.Cores + 2
	free := make(chan *block, depth) // holds every block there is
	for range depth {
		free <- &block{done: make(chan struct{}, 1)}
	}
	todo := make(chan *block, depth)
	inOrder := make(chan *block, depth)
	var cut error // why the input could not be read to its end; what was read still counts
	g.Go(func() error {
		defer close(todo)
		defer close(inOrder)
		cut = read(ctx, in, free, todo, inOrder)
		return nil
	})
	tags := f.tags()
	for range f.options.Cores {
		g.Go(func() error {
			p := newParser(l, tags)
			for b := range todo {
				p.parse(b.text, &b.parsed)
				b.done <- struct{}{}
			}
			return nil
		})
	}
	g.Go(func() error { return f.follow(ctx, inOrder, free) })
	if err := g.Wait(); err != nil {
		return err
	}
	return cut
}

// read hands blocks of the input to the parsers, and in order to the follower.
func read(ctx context.Context, in *lines, free <-chan *block, todo, inOrder chan<- *block) error {
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case b := <-free:
			if !in.next(b) {
				if errors.Is(in.end, io.EOF) {
					return nil
				}
				return fmt.Errorf("the input ends early, after line %d: %w", in.line-1, in.end)
			}
			todo <- b // never full: there are no more blocks than it holds
			inOrder <- b
		}
	}
}

// marks of the engine in seconds.
const markS = int64(drift.Mark / time.Second)
