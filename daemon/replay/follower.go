package replay

import (
	"bufio"
	"context"
	"fmt"
	"math"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// follower owns the engines. It takes parsed blocks in file order, decides which
// rows count, and steps the engines mark by mark.
type follower struct {
	options *Options
	report  Report
	crew    *crew
	site    *drift.Site
	lines   outbox

	seen   []stamp           // newest time of each loop
	newest stamp             // of all rows
	mark   int64             // end of the present interval, s; 0 = no row yet
	queue  []*block          // parsed blocks that are looked ahead into
	said   []finding.Finding // at a mark
}

func newFollower(o *Options, w *bufio.Writer) (*follower, error) {
	c, err := newCrew(o)
	if err != nil {
		return nil, err
	}
	f := &follower{options: o, crew: c, site: drift.NewSite(o.Loops), seen: make([]stamp, len(o.Loops))}
	f.lines.w = w
	return f, nil
}

func (f *follower) tags() []string {
	tags := make([]string, len(f.options.Loops))
	for i, s := range f.options.Loops {
		tags[i] = s.Tag
	}
	return tags
}

// follow takes blocks in order until there are no more.
func (f *follower) follow(ctx context.Context, inOrder <-chan *block, free chan<- *block) error {
	stop := f.crew.start()
	defer stop()
	for {
		b, err := f.next(ctx, inOrder)
		if b == nil || err != nil {
			return err
		}
		if err := f.take(ctx, b, inOrder); err != nil {
			return err
		}
		free <- b // never full: it holds every block there is
		if f.options.Progress != nil {
			f.options.Progress(f.report.Rows)
		}
	}
}

// next returns the next parsed block; nil at the end.
func (f *follower) next(ctx context.Context, inOrder <-chan *block) (*block, error) {
	if len(f.queue) > 0 {
		b := f.queue[0]
		f.queue = f.queue[1:]
		return b, nil
	}
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case b, ok := <-inOrder:
		if !ok {
			return nil, nil
		}
		<-b.done // a parser always finishes what it has taken
		return b, nil
	}
}

// take goes through the rows of a block, closing intervals on the way. The rows
// of the last interval are stepped before the block goes back.
func (f *follower) take(ctx context.Context, b *block, inOrder <-chan *block) error {
	from := 0
	problems := b.problems
	for i := range b.rows {
		r := &b.rows[i]
		for len(problems) > 0 && problems[0].line < r.line {
			f.bad(b.first+int64(problems[0].line), problems[0].text)
			problems = problems[1:]
		}
		if r.at.sec-f.newest.sec > leapS {
			ahead, err := f.ahead(ctx, b, i, inOrder)
			if err != nil {
				return err
			}
			if ahead {
				f.bad(b.first+int64(r.line), fmt.Sprintf("time %s is far ahead of the rows that follow", r.at.time().Format("2006-01-02T15:04:05Z")))
				r.loop = -1
				continue
			}
		}
		if r.at.sec >= f.mark {
			f.step(b.rows[from:i])
			from = i
			if err := f.close(r.at.sec); err != nil {
				return err
			}
		}
		f.admit(b, r)
	}
	for _, p := range problems {
		f.bad(b.first+int64(p.line), p.text)
	}
	f.step(b.rows[from:])
	return nil
}

const (
	leapS  = 1200 // a row that much later than any before is looked at twice
	lookTo = 64   // rows that are looked at then
)

// ahead reports whether most of the rows that follow row i are earlier than it:
// then its clock is wrong, not theirs.
func (f *follower) ahead(ctx context.Context, b *block, i int, inOrder <-chan *block) (bool, error) {
	after, earlier, n := b.rows[i+1:], 0, 0
	for q := 0; n < lookTo; {
		for j := range after {
			if n == lookTo {
				break
			}
			n++
			if after[j].at.before(b.rows[i].at) {
				earlier++
			}
		}
		if n == lookTo {
			break
		}
		if q == len(f.queue) {
			if q == f.options.Cores { // blocks held here are missed by the reader
				break
			}
			next, err := f.fetch(ctx, inOrder)
			if next == nil || err != nil {
				return 2*earlier > n, err
			}
			f.queue = append(f.queue, next)
		}
		after = f.queue[q].rows
		q++
	}
	return 2*earlier > n, nil
}

// fetch returns the next parsed block beyond those in the queue.
func (f *follower) fetch(ctx context.Context, inOrder <-chan *block) (*block, error) {
	held := f.queue
	f.queue = nil
	b, err := f.next(ctx, inOrder)
	f.queue = held
	return b, err
}

// admit decides whether a row counts.
func (f *follower) admit(b *block, r *row) {
	late := r.at.before(f.newest)
	switch {
	case late && r.at.sec < f.mark-markS:
		f.bad(b.first+int64(r.line), "out of order: earlier than the last 10-minute mark")
		r.loop = -1
		return
	case !f.seen[r.loop].before(r.at):
		f.bad(b.first+int64(r.line), "out of order: not later than the row before of "+f.options.Loops[r.loop].Tag)
		r.loop = -1
		return
	case late:
		f.report.Late++
	default:
		f.newest = r.at
	}
	if f.report.Rows == 0 {
		f.report.From = r.at.time()
	}
	f.report.Rows++
	f.seen[r.loop] = r.at
}

func (f *follower) bad(line int64, text string) {
	f.report.Bad++
	if f.options.Bad != nil {
		f.options.Bad(line, text)
	}
}

// step runs rows of the present interval through the engines.
func (f *follower) step(rows []row) {
	if len(rows) > 0 {
		f.crew.step(rows)
		f.crew.collect(&f.lines)
	}
}

// mostMarks is how many marks are passed in a silence of the whole record; what
// boxes and neighbours say does not change beyond.
const mostMarks = 2 * 365 * 144

// close passes every mark up to now: neighbours exchange, boxes are judged.
func (f *follower) close(now int64) error {
	if f.mark == 0 {
		f.mark = now - now%markS + markS
		return nil
	}
	f.crew.publish(f.site)
	for n := 0; f.mark <= now; n++ {
		if n > mostMarks {
			f.mark = now - now%markS + markS
			break
		}
		at := stamp{sec: f.mark}.time()
		f.said = f.site.Mark(at, f.said[:0])
		for i := range f.said {
			f.lines.finding(&f.said[i])
		}
		f.mark += markS
	}
	f.crew.hear(f.site)
	return f.lines.release(f.mark - markS - holdS)
}

func (f *follower) finish() error {
	f.report.Until = f.newest.time()
	if f.report.Rows == 0 {
		f.report.Until = f.report.From
	}
	err := f.lines.release(math.MaxInt64)
	f.report.Findings, f.report.Estimates = f.lines.findings, f.lines.estimates
	return err
}
