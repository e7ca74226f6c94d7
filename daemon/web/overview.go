package web

import (
	"fmt"
	"net/http"
	"time"
)

// overviewPage is the table of loops, ready to print.
type overviewPage struct {
	frameTop
	Query    query
	Areas    []string
	States   []state
	Chips    []chip
	Heads    []head
	Rows     []rowView
	Pager    pager
	Summary  summary
	Filtered bool
}

// frameTop is what the layout prints around every page.
type frameTop struct {
	Title  string
	Site   string
	Now    time.Time
	Clock  string
	Assets map[string]string
	Stream string // address of the page's stream
	Charts bool
	Notice string // what is wrong with the daemon itself, empty when good
}

// chip is one state with its count, and the link that shows only those loops.
type chip struct {
	State   state
	All     bool
	Count   int
	Href    string
	Current bool
}

// head is one heading of the table and the link that sorts by it.
type head struct {
	column
	Href, Sorted string // Sorted: ascending, descending or none
}

type pager struct {
	From, To, Matched, Total int
	Prev, Next               string // addresses; empty = none
}

// summary is the line over the table.
type summary struct {
	Loops     int
	PerSecond string
	OldestTag string
	OldestAt  time.Time
	OldestAge string
	Never     int
}

func newOverviewPage(o *Overview, p Progress, v view, now time.Time) *overviewPage {
	page := &overviewPage{Query: v.query, Areas: v.areas, States: states(), Filtered: v.matched != v.total}
	page.Title, page.Site, page.Now, page.Clock = "Loops", o.Site, now, clock(now)
	page.Stream = "/stream" + v.query.address()[1:]
	page.Notice = prefixed("Polling has stalled: ", stalled(p, now))
	page.Chips = chips(v)
	page.Heads = heads(v.query)
	for i, r := range v.rows {
		page.Rows = append(page.Rows, newRow(i, r, now))
	}
	page.Pager = newPager(v)
	page.Summary = newSummary(p, v, now)
	return page
}

func newSummary(p Progress, v view, now time.Time) summary {
	s := summary{Loops: v.total, PerSecond: fixed(p.PollsPerSecond, 1), Never: v.never, OldestAge: "none yet"}
	if v.oldest != nil {
		s.OldestTag, s.OldestAt = v.oldest.Spec.Tag, v.oldest.Values.At
		s.OldestAge = ago(now.Sub(s.OldestAt))
	}
	return s
}

func chips(v view) []chip {
	q := v.query
	q.Page = 1
	all := 0
	for _, n := range v.counts {
		all += n
	}
	q.Cond = ""
	out := []chip{{All: true, Count: all, Href: q.address(), Current: v.query.Cond == ""}}
	for _, st := range states() {
		q.Cond = st.Key()
		out = append(out, chip{State: st, Count: v.counts[st], Href: q.address(), Current: v.query.Cond == st.Key()})
	}
	return out
}

func heads(q query) []head {
	var out []head
	for _, c := range columns() {
		h := head{column: c, Sorted: "none"}
		next := q
		next.Page, next.Sort, next.Desc = 1, c.Key, c.Biggest
		switch {
		case q.Sort == c.Key:
			next.Desc = !q.Desc
			h.Sorted = "ascending"
			if q.Desc {
				h.Sorted = "descending"
			}
		case q.Sort == "" && c.Key == "condition":
			next.Desc = false
			h.Sorted = "descending"
		}
		h.Href = next.address()
		out = append(out, h)
	}
	return out
}

func newPager(v view) pager {
	p := pager{Matched: v.matched, Total: v.total, From: (v.query.Page-1)*pageRows + 1}
	p.To = p.From + len(v.rows) - 1
	if len(v.rows) == 0 {
		p.From, p.To = 0, 0
	}
	q := v.query
	if q.Page > 1 {
		q.Page--
		p.Prev = q.address()
	}
	if q = v.query; q.Page < v.pages {
		q.Page++
		p.Next = q.address()
	}
	return p
}

// frame is the page as its stream knows it. order counts how often the rows
// were put in a new order.
func (p *overviewPage) frame(order int, html func(name string, data any) string) *frame {
	f := newFrame()
	f.block("notice", "", p.Notice, func() string { return html("notice", p) })
	f.block("chips", "", fmt.Sprint(p.Chips), func() string { return html("chips", p) })
	f.block("heads", "", fmt.Sprint(p.Heads), func() string { return html("heads", p) })
	f.block("pager", "", p.Pager, func() string { return html("pager", p) })
	f.block("oldest", "", p.Summary.OldestTag+fmt.Sprint(p.Summary.Never), func() string { return html("oldest", p) })
	f.block("rows", "", fmt.Sprint(order, len(p.Rows)), func() string { return html("rows", p) })
	for i := range p.Rows {
		r := &p.Rows[i]
		r.add(f, func() string { return html("row", r) })
	}
	f.texts["sum.loops"] = fmt.Sprint(p.Summary.Loops)
	f.texts["sum.polls"] = p.Summary.PerSecond
	if !p.Summary.OldestAt.IsZero() {
		f.at["oldest.age"] = p.Summary.OldestAt.Unix()
	}
	return f
}

// serveOverview answers GET /.
func (s *Server) serveOverview(w http.ResponseWriter, r *http.Request) {
	now := time.Now()
	o := s.src.Overview()
	page := newOverviewPage(&o, s.src.Progress(), look(&o, parseQuery(r.URL.Query()), now), now)
	page.Assets = s.assets.addresses
	s.print(w, http.StatusOK, "overview.html", page)
}

// reorderAfter is how long a table keeps its order while only numbers move: rows
// that change places under the reader's eyes cannot be read. A row whose state
// or finding changes moves at once.
const reorderAfter = 15 * time.Second

// overviewStream is the table as one reader of the stream sees it.
type overviewStream struct {
	server   *Server
	query    query
	shown    []string // tags in the order shown
	standing uint64
	ordered  time.Time
	orders   int
}

func (t *overviewStream) next(k tick) (*frame, bool) {
	shared := k.overview()
	v := look(&shared.Overview, t.query, k.at)
	if t.orders == 0 || v.standing != t.standing || k.at.Sub(t.ordered) >= reorderAfter {
		t.reorder(v, k.at)
	} else {
		v.rows = shared.rows(t.shown)
	}
	page := newOverviewPage(&shared.Overview, t.server.src.Progress(), v, k.at)
	return page.frame(t.orders, t.server.fragment), true
}

func (t *overviewStream) reorder(v view, now time.Time) {
	moved := t.orders == 0 || len(v.rows) != len(t.shown)
	tags := make([]string, len(v.rows))
	for i, r := range v.rows {
		tags[i] = r.Spec.Tag
		moved = moved || tags[i] != t.shown[i]
	}
	t.standing, t.ordered = v.standing, now
	if moved {
		t.shown, t.orders = tags, t.orders+1
	}
}
