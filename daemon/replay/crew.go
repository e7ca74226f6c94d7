package replay

import (
	"fmt"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/follow"
	"ohmdrift/diagnostics/measure"
)

// fewRows is how many rows a core must have for it to be worth waking: 64 take
// about 0.1 ms, a hundred times what waking costs.
const fewRows = 64

// crew shares the loops out over the cores: loop i belongs to hand i modulo
// their number.
type crew struct {
	specs      []*diagnostics.Spec
	loops      []*follow.Loop
	neighbours []drift.Neighbour // read by the samples of this interval
	pending    []drift.Neighbour // from the last mark, read from the next on
	hands      []*hand
	few        int // rows that a core must have for it to be woken
	explained  int // number of the loop to explain; −1 = none
	seen       func(*Seen)
	view       drift.View // of the explained loop
}

// hand steps its loops. Between two marks nothing else touches
// them.
type hand struct {
	crew      *crew
	number    int
	of        int
	every     int64   // seconds between estimates; 0 = none
	estimated []int64 // end of the last estimate of each loop, s
	slots     []int64 // 10-minute slot of the last row of each loop
	empty     measure.Sample
	said      []finding.Finding
	guesses   []guess
	work      chan []row
	done      chan struct{}
}

// guess is an estimate of a loop.
type guess struct {
	loop int
	drift.Estimate
}

func newCrew(o *Options) (*crew, error) {
	c := &crew{specs: o.Loops, neighbours: make([]drift.Neighbour, len(o.Loops)), pending: make([]drift.Neighbour, len(o.Loops)), explained: -1, few: fewRows, seen: o.Explained}
	if o.few > 0 {
		c.few = o.few
	}
	for i, s := range o.Loops {
		l, err := follow.New(s)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.Tag, err)
		}
		c.loops = append(c.loops, l)
		if o.Explain != "" && s.Tag == o.Explain {
			c.explained = i
		}
	}
	if o.Explain != "" && c.explained < 0 {
		return nil, fmt.Errorf("loop %q is not in the plant", o.Explain)
	}
	for i := range o.Cores {
		c.hands = append(c.hands, &hand{
			crew: c, number: i, of: o.Cores, every: int64(o.Estimates / time.Second),
			estimated: make([]int64, len(o.Loops)), slots: make([]int64, len(o.Loops)), empty: measure.Empty(time.Time{}, measure.Good),
			work: make(chan []row), done: make(chan struct{}),
		})
	}
	return c, nil
}

// start runs all hands but the first, which is the caller's. The function it
// returns stops them and waits.
func (c *crew) start() (stop func()) {
	for _, h := range c.hands[1:] {
		go h.run()
	}
	return func() {
		for _, h := range c.hands[1:] {
			close(h.work)
			<-h.done
		}
	}
}

func (h *hand) run() {
	defer close(h.done)
	for rows := range h.work {
		h.step(rows)
		h.done <- struct{}{}
	}
}

// step runs rows through the engines; every hand picks its own loops.
func (c *crew) step(rows []row) {
	if len(rows) < c.few*len(c.hands) {
		for _, h := range c.hands {
			h.step(rows)
		}
		return
	}
	for _, h := range c.hands[1:] {
		h.work <- rows
	}
	c.hands[0].step(rows)
	for _, h := range c.hands[1:] {
		<-h.done
	}
}

func (h *hand) step(rows []row) {
	var s measure.Sample
	for i := range rows {
		r := &rows[i]
		if r.loop < 0 || int(r.loop)%h.of != h.number {
			continue
		}
		loop := int(r.loop)
		r.fill(&s, &h.empty)
		l := h.crew.loops[loop]
		from := len(h.said)
		_, h.said = l.Step(&s, &h.crew.neighbours[loop], h.said)
		if slot := r.at.sec / markS; h.every > 0 && slot != h.slots[loop] { // an hour closes with a slot
			h.slots[loop] = slot
			h.estimate(loop, l.Engine())
		}
		if loop == h.crew.explained && h.crew.seen != nil {
			h.crew.explain(l.Engine(), &s, h.said[from:])
		}
	}
}

// estimate takes the newest full hour of a loop, once, if it ends an interval.
func (h *hand) estimate(loop int, e *drift.Engine) {
	end := e.Estimated()
	if end.IsZero() {
		return
	}
	at := end.Unix()
	if at == h.estimated[loop] {
		return
	}
	h.estimated[loop] = at
	if at%h.every == 0 {
		h.guesses = append(h.guesses, guess{loop, e.Estimate()})
	}
}

// collect moves what the hands have found to the outbox.
func (c *crew) collect(out *outbox) {
	for _, h := range c.hands {
		for i := range h.said {
			out.finding(&h.said[i])
		}
		for i := range h.guesses {
			g := &h.guesses[i]
			out.estimate(c.specs[g.loop], *g)
		}
		h.said, h.guesses = h.said[:0], h.guesses[:0]
	}
}

// publish tells the plant level what every loop says at a mark.
func (c *crew) publish(site *drift.Site) {
	for i, l := range c.loops {
		site.Put(i, l.Engine().Publish())
	}
}

// hear gives every loop what its neighbours said at the mark before this one. A
// live daemon exchanges some seconds after a mark, when late answers have come,
// and so cannot hear sooner; a replay does the same.
func (c *crew) hear(site *drift.Site) {
	copy(c.neighbours, c.pending)
	for i := range c.pending {
		c.pending[i] = *site.Neighbour(i)
	}
}
