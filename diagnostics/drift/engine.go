package drift

import (
	"math"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// nan is an absent number.
var nan = math.NaN()

// Engine follows one loop. It is a plain value owned by one goroutine: copy it
// to keep a state, compare copies to prove that nothing changed. Build it with
// New.
type Engine struct {
	m *model // never written
	s state
}

// New returns an engine that knows nothing yet but the loop's specification.
// It reports an error for a specification that cannot be followed.
func New(spec *diagnostics.Spec) (*Engine, error) {
	m, err := newModel(spec)
	if err != nil {
		return nil, err
	}
	return &Engine{m: m}, nil
}

// Step takes the next sample and appends to out what changed. A sample that is
// not newer than the one before is ignored. nb may be nil. Nothing is allocated
// unless a finding is appended.
func (e *Engine) Step(s *measure.Sample, nb *Neighbour, out []finding.Finding) []finding.Finding {
	st := &e.s
	t := s.At.Unix()
	if t <= st.Last {
		return out
	}
	if st.Work && t >= st.Hold {
		e.endCheck(st.Hold)
	}
	if st.Anew == 0 {
		st.Anew = t
	}
	e.pace(t)
	st.Last = t
	var fr frame
	e.frame(&fr)
	if i := t / slotS; i != st.Slot.Index {
		e.closeSlot(&fr, nb)
		e.clockwork(t)
		st.Slot.Index = i
		if i := t / blockS; i != st.Block.Index {
			out = e.endBlock(out)
			st.Block.Index = i
			e.frame(&fr)
		}
	}
	switch {
	case st.Work: // the hand's doing
	case s.Quality.Usable():
		out = e.take(s, &fr, nb, out)
	case s.Quality == measure.Device || s.Quality == measure.Invalid || s.Quality == measure.OutOfRange:
		var l look // a device that reports its own fault still tells which lead is gone
		e.see(s, &l)
		out = e.watchOpen(&l, out)
	}
	return out
}

// pace follows the sampling interval: a gap is no new interval, a slower poll
// soon is.
func (e *Engine) pace(t int64) {
	st := &e.s
	if st.Last == 0 || st.Work { // in a function check the loop is polled faster
		return
	}
	d := float32(t - st.Last)
	if st.Step == 0 {
		st.Step = d
	}
	st.Step += 0.1 * (min(d, 2*st.Step) - st.Step)
}

// Estimated returns the end of the span that Estimate is about; the zero time
// where it knows of none. It costs nothing beside Estimate.
func (e *Engine) Estimated() time.Time {
	if s := &e.s.Error; s.Known && e.m.spec.Reports == wiring.AllLeads {
		return time.Unix(s.At, 0).UTC()
	}
	return time.Time{}
}

// Estimate returns what is known of the newest full hour with values. It changes
// with the first sample of the next hour.
func (e *Engine) Estimate() Estimate {
	s := &e.s.Error
	x := Estimate{Error: quantity.DeltaC(nan), U: quantity.DeltaC(nan), Contact: measure.NoLeads(), CopperFactor: nan}
	cu := &e.s.Copper
	if cu.N > 0 && !cu.Alone {
		x.CopperFactor = cu.F
	}
	p := e.latest()
	if e.m.n == 3 { // of three alone levels can say that the lowest is copper
		e.heights(&p)
	}
	e.shift(&p.u, &p)
	for k := range e.m.n {
		if c := &e.m.ch[k]; !c.sum {
			x.Contact[c.lead] = quantity.Ohm(p.u[k])
		}
	}
	if at := e.Estimated(); !at.IsZero() {
		x.From, x.At = at.Add(-time.Hour), at
		x.Error = quantity.DeltaC(s.Last)
		x.U = quantity.DeltaC(e.expanded(float64(cu.Temp[recent-1])))
	}
	return x
}

// Open appends the findings that stand, as of the newest sample.
func (e *Engine) Open(out []finding.Finding) []finding.Finding {
	for t := range e.s.Found {
		if r := &e.s.Found[t]; r.Kind != 0 {
			state := finding.Updated
			if r.Updated == r.Raised {
				state = finding.Raised
			}
			out = append(out, e.finding(r, state, "stands since "+clock(r.Raised)))
		}
	}
	return out
}

// Recabling reports that all leads changed at once over a gap in their values and
// that it is not yet known whether that was another cable. Nobody exchanges a
// cable between two polls; a contact that steps needs no gap.
func (e *Engine) Recabling() bool {
	c := &e.s.Copper
	return c.JumpAt != 0 && c.JumpAt-c.GapAt <= 2*slotS
}

// FirstSum returns the one sum of leads that a loop reports as it was when its
// baseline began; NaN before, and where a loop reports something else.
func (e *Engine) FirstSum() quantity.Ohm {
	if b := e.s.Ch[0].Base; b > 0 && e.m.n == 1 && e.m.ch[0].sum {
		return quantity.Ohm(b)
	}
	return quantity.Ohm(nan)
}

// Publish returns what the loop tells its plant at a mark.
func (e *Engine) Publish() Published {
	p := Published{Factor: nan, Contact: quantity.Ohm(nan), Reading: quantity.DegC(nan)}
	if r := &e.s.Read; r.At != 0 {
		p.Reading, p.ReadAt = quantity.DegC(r.Value), timeOf(r.At)
	}
	p.Anew = timeOf(e.s.Anew)
	cu := &e.s.Copper
	if e.m.n > 1 && cu.Known && cu.N >= 4 {
		p.Factor = cu.ref() * cu.F
	}
	if r := &e.s.Found[aboutContact]; r.Kind != 0 {
		p.Rests = r.Severity == finding.Info
		p.Kind, p.Leads, p.Contact, p.Since = r.kind(), r.Leads, quantity.Ohm(float64(r.Contact)), time.Unix(r.Since, 0).UTC()
		p.Share = e.shareNow()
	}
	return p
}

// newest returns the picture of the newest judged block.
func (e *Engine) newest() picture {
	p := e.latest()
	e.levels(&p)
	return p
}

// latest returns the residuals of the newest judged block as they are.
func (e *Engine) latest() picture {
	cu := &e.s.Copper
	p := picture{at: e.s.Block.Index * blockS, f: float64(cu.Ring[recent-1]), t: float64(cu.Temp[recent-1]), blocks: cu.Blocks, moved: cu.Moved}
	for k := range e.m.n {
		p.u[k] = nan
		if c := &e.s.Ch[k]; c.UN > 0 {
			p.u[k] = float64(c.U[recent-1])
		}
	}
	return p
}

// Explain fills v with what the engine saw in the newest block and what it holds
// against it.
func (e *Engine) Explain(v *View) {
	cu := &e.s.Copper
	p := e.newest()
	middle, scatter := e.overheard()
	*v = View{
		At: time.Unix(e.s.Last, 0).UTC(), Block: time.Unix(e.s.Block.Index*blockS, 0).UTC(), Factor: p.f, Middle: middle, MiddleU: scatter,
		Contact: measure.NoLeads(), Level: measure.NoLeads(), Threshold: measure.NoLeads(), Noise: measure.NoLeads(), NoiseBase: measure.NoLeads(),
		Learnt: cu.Blocks > learnBlocks, Young: p.grow, Standing: v.Standing[:0],
	}
	for k := range e.m.n {
		c := &e.s.Ch[k]
		l := e.m.ch[k].lead
		v.Contact[l], v.Level[l], v.Threshold[l] = quantity.Ohm(p.newest[k]), quantity.Ohm(p.level[k]), quantity.Ohm(p.limit[k])
		v.Noise[l], v.NoiseBase[l] = quantity.Ohm(c.Sigma), quantity.Ohm(float64(c.Quiet))
		v.Swing[l] = c.Swing.size()
		_, v.Rule[l] = e.threshold(k, &p)
		v.Spikes[l] = float64(c.Spike.Sure + c.Spike.Maybe)
	}
	for t := range e.s.Found {
		if r := &e.s.Found[t]; r.Kind != 0 {
			v.Standing = append(v.Standing, r.kind())
		}
	}
}
