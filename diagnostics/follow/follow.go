// Package follow joins what one sample shows of a loop with what its history
// shows: the whole of a loop's diagnostics behind one step, the same for live
// polling and for replay of recorded data.
//
//	sample ─┬─ diagnostics.Loop.Assess ─ Check ─ held (on- and off-delay) ─┬─ findings
//	        └─ drift.Engine.Step ──────────────────────────────────────────┘
//
// Both sides can find the same kind; it is told once, and cleared when neither
// sees it any more. An error over the limit whose cause stands as a finding about
// contacts is told as part of that: it makes it out of specification.
package follow

import (
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Loop follows one loop. It is owned by one goroutine.
type Loop struct {
	assess *diagnostics.Loop
	engine *drift.Engine
	held   [len(heldKinds)]held
	drift  uint32                 // kinds that stand at the engine, bits by position in heldKinds
	caused bool                   // the imbalance is held by the finding about its cause
	loose  held                   // how long that finding has not accounted for it
	sum    bool                   // it reports one sum of leads, whose error rests on the cable of the index
	found  quantity.Ohm           // half of it when the loop was first followed; 0 = not known yet
	cable  bool                   // another cable was seen: what the index says of it does not hold
	now    diagnostics.Assessment // of the sample under way, here so that it stays off the heap
}

// heldKinds are the conditions that one sample can show. A sample alone proves
// little (a contact that flickers, a register caught between two values), so
// they are held back until they have lasted.
var heldKinds = [...]finding.Kind{
	finding.NotFourWire, finding.LeadLimit, finding.Imbalance, finding.CurveMismatch, finding.ThermalEMF, finding.SelfHeating,
}

// New builds the diagnostics of a loop.
func New(spec *diagnostics.Spec) (*Loop, error) {
	assess, err := diagnostics.NewLoop(*spec)
	if err != nil {
		return nil, err
	}
	engine, err := drift.New(spec)
	if err != nil {
		return nil, err
	}
	return &Loop{assess: assess, engine: engine, sum: spec.Reports == wiring.LoopsOnly && spec.Wires == 3}, nil
}

// Assess gives the judge of single samples, to set a baseline.
func (l *Loop) Assess() *diagnostics.Loop { return l.assess }

// Engine gives the judge of the history, for estimates and marks.
func (l *Loop) Engine() *drift.Engine { return l.engine }

// Step follows one sample: what it means now, and the findings that begin,
// change or end with it, appended to out. It allocates only for what it finds.
func (l *Loop) Step(s *measure.Sample, nb *drift.Neighbour, out []finding.Finding) (diagnostics.Assessment, []finding.Finding) {
	if l.found == 0 && l.sum {
		l.find()
	}
	l.now = l.assess.Assess(s)
	from := len(out)
	work := l.engine.Recabling()
	out = l.engine.Step(s, nb, out)
	out = l.merge(out, from)
	for i := range out[from:] {
		if f := &out[from+i]; work && f.Kind == finding.CableChanged && f.State == finding.Raised {
			l.recabled()
		}
	}
	switch {
	case l.engine.Checking():
		l.pause()
	case l.now.Quality.Usable():
		out = l.check(s, &l.now, out)
	}
	return l.now, out
}

// Check begins a function check, which ends by itself at until; one that is on goes
// on until then. Its samples are assessed, so that whoever works at the loop sees
// what the leads do, and nothing is made of them: no finding begins, changes or ends,
// and nothing is learnt. After it the conditions of single samples must last as long
// as ever to be told; what the engine does then stands at drift.CheckEnded.
func (l *Loop) Check(from, until time.Time) {
	l.engine.Check(from, until)
}

// pause lets no condition go on from what was seen before or in a function check.
func (l *Loop) pause() {
	for i := range l.held {
		l.held[i].run = 0
	}
	l.loose.run = 0
}

// Journal takes an entry that a person made at a time; see drift.Engine.Journal.
func (l *Loop) Journal(at time.Time, en drift.Entry, out []finding.Finding) []finding.Finding {
	from := len(out)
	return l.merge(l.engine.Journal(at, en, out), from)
}

// merge drops what the engine says of a kind that the checks told already.
func (l *Loop) merge(out []finding.Finding, from int) []finding.Finding {
	kept := from
	for _, f := range out[from:] {
		if i := heldIndex(f.Kind); i >= 0 {
			l.note(i, f.State)
			if f.State != finding.Updated && l.held[i].open && !(f.Kind == finding.Imbalance && l.caused) {
				continue
			}
		}
		out[kept] = f
		kept++
	}
	return out[:kept]
}

// find takes the leads for what the engine found when its baseline began.
func (l *Loop) find() {
	if o := l.engine.FirstSum(); quantity.Known(o) {
		l.found = o / 2
		l.assess.FoundCable(l.found)
	}
}

// recabled takes it that the cable is another one than the index says.
func (l *Loop) recabled() {
	l.cable = true
	l.assess.DoubtCable()
}

func (l *Loop) note(i int, s finding.State) {
	switch s {
	case finding.Raised:
		l.drift |= 1 << i
	case finding.Cleared:
		l.drift &^= 1 << i
	}
}

func (l *Loop) check(s *measure.Sample, a *diagnostics.Assessment, out []finding.Finding) []finding.Finding {
	shown := l.assess.Shown(s, a)
	for i, kind := range heldKinds {
		h, now := &l.held[i], shown.Has(i)
		if !now && !h.open {
			h.run = 0
			continue // most kinds of most samples
		}
		if kind == finding.Imbalance && a.Basis != diagnostics.Measured && !h.open && (l.engine.Recabling() || l.sum && l.found == 0) {
			now = false // it rests on the cable that was there
		}
		changed := h.step(s.At, now, h.open && l.receded(kind, a))
		if changed && h.open {
			h.named(l.assess, kind, s, a)
		}
		switch {
		case kind == finding.Imbalance:
			out = l.imbalance(h, changed, now, s, a, out)
		case changed && l.drift&(1<<i) == 0:
			out = append(out, l.tell(kind, h, s, a))
		}
	}
	return out
}

// receded tells whether a condition that stands is gone for sure.
func (l *Loop) receded(kind finding.Kind, a *diagnostics.Assessment) bool {
	return l.assess.Receded(kind, a) || kind == finding.Imbalance && a.Basis != diagnostics.Measured && l.cable
}

// imbalance tells an error over the limit, unless its cause stands as a finding
// about contacts: then that one says it. What was told before its cause was found
// is taken back, and told again when the cause goes and the error stays.
func (l *Loop) imbalance(h *held, changed, now bool, s *measure.Sample, a *diagnostics.Assessment, out []finding.Finding) []finding.Finding {
	err, _ := l.assess.Counts(a)
	was := l.caused
	switch {
	case h.open && l.engine.Carries(err):
		l.caused, l.loose = true, held{}
	case was && h.open && !l.loose.step(s.At, now, false):
		// within the limit for the moment, or a bad value: nothing to tell yet
	default:
		l.caused, l.loose = false, held{}
	}
	if changed || h.open {
		out = l.engine.Exceed(l.caused && now, func() string {
			f, _ := l.assess.Find(finding.Imbalance, s, a)
			return f.Evidence
		}, out)
	}
	if l.drift&(1<<heldIndex(finding.Imbalance)) != 0 {
		return out
	}
	switch begins := h.open && !l.caused && (changed || was); {
	case begins, changed && !h.open && !was:
		out = append(out, l.tell(finding.Imbalance, h, s, a))
	case l.caused && !was && !changed:
		f := l.cleared(finding.Imbalance, h, a)
		f.Evidence = "told by the finding about its cause from now on"
		out = append(out, f)
	}
	return out
}

func heldIndex(k finding.Kind) int {
	for i, h := range heldKinds {
		if h == k {
			return i
		}
	}
	return -1
}

// How long a condition of single samples must last to be told, and be away to be
// taken back. 60 s is the usual delay of a temperature alarm (common practice);
// ten samples keep it from resting on a few slow ones.
const (
	holdFor     = time.Minute
	holdSamples = 10
)

// held is the on- and off-delay of one kind.
type held struct {
	open     bool
	run      uint8 // samples in a row that speak against the present state
	leads    finding.LeadSet
	severity finding.Severity
	since    time.Time // onset, when open
	against  time.Time // first sample of the run
}

// step takes the condition as one sample shows it: now is false when it is
// absent; receded says that it is gone for sure, not just below its threshold.
// It reports that the state has changed.
func (h *held) step(at time.Time, now, receded bool) bool {
	against := now
	if h.open {
		against = !now && receded
	}
	if !against {
		h.run = 0
		return false
	}
	if h.run == 0 {
		h.against = at
	}
	h.run = min(h.run+1, holdSamples)
	if h.run < holdSamples || at.Sub(h.against) < holdFor {
		return false
	}
	h.run, h.open = 0, !h.open
	return true
}

// named notes since when a condition that has just begun lasts, and what it is
// about.
func (h *held) named(l *diagnostics.Loop, kind finding.Kind, s *measure.Sample, a *diagnostics.Assessment) {
	f, _ := l.Find(kind, s, a)
	h.since, h.leads, h.severity = h.against, f.Leads, f.Severity
}

// tell writes the transition of a kind that has just begun or ended.
func (l *Loop) tell(kind finding.Kind, h *held, s *measure.Sample, a *diagnostics.Assessment) finding.Finding {
	if h.open {
		f, _ := l.assess.Find(kind, s, a)
		f.Since = h.since
		return f
	}
	return l.cleared(kind, h, a)
}

// cleared writes the end of a kind.
func (l *Loop) cleared(kind finding.Kind, h *held, a *diagnostics.Assessment) finding.Finding {
	err, u := l.assess.Counts(a)
	return finding.Finding{
		Time: a.At, Loop: l.assess.Spec().Tag, Kind: kind, Leads: h.leads, State: finding.Cleared, Severity: h.severity,
		Since: h.since, Contact: quantity.Ohm(quantity.Absent), Error: err, U: u, POverLimit: a.POverLimit, Confidence: 1,
		Engine: diagnostics.CheckEngine, Evidence: "gone in " + strconv.Itoa(holdSamples) + " samples in a row, for a minute or longer",
	}
}

// Resume takes over what stood when the daemon stopped.
func (l *Loop) Resume(open []finding.Finding) {
	for _, f := range open {
		if i := heldIndex(f.Kind); i >= 0 && strings.HasPrefix(f.Engine, diagnostics.CheckEngine) {
			l.held[i] = held{open: true, since: f.Since, leads: f.Leads, severity: f.Severity}
		}
	}
}
