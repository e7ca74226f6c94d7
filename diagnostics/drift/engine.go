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

// Step takes the next sample and appends to out what changed. A sample older
// than the one before is ignored. nb may be nil. Nothing is allocated unless a
// finding is appended.
func (e *Engine) Step(s *measure.Sample, nb *Neighbour, out []finding.Finding) []finding.Finding {
	st := &e.s
	t := s.At.Unix()
	if t <= st.Last {
		return out
	}
	if d := float32(t - st.Last); st.Last != 0 {
		if st.Step == 0 {
			st.Step = d
		}
		st.Step += 0.1 * (min(d, 2*st.Step) - st.Step) // a gap is no new interval, a slower poll soon is
	}
	st.Last = t
	if i := t / slotS; i != st.Slot.Index {
		e.closeSlot(nb)
		e.clockwork(t)
		st.Slot.Index = i
		if i := t / blockS; i != st.Block.Index {
			out = e.closeBlock(out)
			st.Block.Index = i
		}
	}
	if s.Quality.Usable() {
		out = e.take(s, nb, out)
	}
	return out
}

// Estimate returns what is known of the newest full hour.
func (e *Engine) Estimate() Estimate {
	s := &e.s.Error
	x := Estimate{Error: quantity.DeltaC(math.NaN()), U: quantity.DeltaC(math.NaN()), Contact: measure.NoLeads(), CopperFactor: math.NaN()}
	if e.s.Copper.N > 0 {
		x.CopperFactor = e.s.Copper.F
	}
	if s.Known && e.m.spec.Reports == wiring.AllLeads {
		x.From, x.At = time.Unix(s.At-hourS, 0).UTC(), time.Unix(s.At, 0).UTC()
		x.Error = quantity.DeltaC(s.Last)
	}
	return x
}

// Open appends the findings that stand.
func (e *Engine) Open(out []finding.Finding) []finding.Finding { return out }

// Forecast returns when the loop leaves its limit, as of the newest sample.
func (e *Engine) Forecast() finding.Forecast {
	if f := e.forecast(&e.s.Found[aboutContact].Outlook); f != nil {
		return *f
	}
	return *e.forecast(&outlook{State: outlookCannot})
}

// Journal takes an entry that a person made and appends what it clears.
func (e *Engine) Journal(at time.Time, en Entry, out []finding.Finding) []finding.Finding { return out }

// Publish returns what the loop tells its plant at a mark.
func (e *Engine) Publish() Published {
	p := Published{Factor: math.NaN(), Contact: quantity.Ohm(math.NaN())}
	cu := &e.s.Copper
	if e.m.n > 1 && cu.Known && cu.N >= 4 {
		p.Factor = cu.Ref() * cu.F
	}
	if r := &e.s.Found[aboutContact]; r.Kind != 0 {
		p.Kind, p.Leads, p.Contact, p.Since = r.kind(), r.Leads, quantity.Ohm(r.Contact), time.Unix(r.Since, 0).UTC()
	}
	return p
}

// Explain fills v with what the engine saw and decided.
func (e *Engine) Explain(v *View) {
	v.Block = time.Unix(e.s.Block.Index*blockS, 0).UTC()
	v.Factor = float64(e.s.Copper.Ring[recent-1])
	for k := range e.m.n {
		c := &e.s.Ch[k]
		l := e.m.ch[k].lead
		v.Contact[l] = quantity.Ohm(c.U[recent-1])
		v.Level[l] = quantity.Ohm(c.level(8))
		v.Noise[l] = quantity.Ohm(c.Sigma)
		v.NoiseBase[l] = quantity.Ohm(c.Quiet)
		v.Threshold[l] = quantity.Ohm(c.Swing.size())
		v.Spikes[l] = float64(c.Spike.Sure + c.Spike.Maybe)
	}
	v.Learnt = e.s.Copper.Blocks > learnBlocks
	_ = math.Pi
}
