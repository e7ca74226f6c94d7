package drift

import (
	"math"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/uncertainty"
)

// topic is one matter on which at most one finding stands at a time.
type topic uint8

const (
	aboutContact topic = iota
	aboutOpen
	aboutWiring
	aboutInsulation
	aboutLimit
	aboutData
	aboutWork // info: what was changed
	topics
)

// record is a standing finding without its words.
type record struct {
	Kind     uint8 // index into finding.Kinds() plus 1; 0 = nothing stands
	Leads    finding.LeadSet
	Channels uint8 // bits
	Severity finding.Severity
	Since    int64
	Raised   int64
	Updated  int64
	Contact  float32 // Ω; NaN = not known
	Sure     float32 // confidence 0..1
	Outlook  outlook
}

// claim describes a finding as it is decided, before it is compared with what
// stands.
type claim struct {
	kind     finding.Kind
	leads    finding.LeadSet
	channels uint8
	severity finding.Severity
	since    int64
	contact  float64
	sure     float64
	evidence string
}

func kindIndex(k finding.Kind) uint8 {
	for i, x := range kinds {
		if x == k {
			return uint8(i + 1)
		}
	}
	return 0
}

var kinds = finding.Kinds()

func (r *record) kind() finding.Kind {
	if r.Kind == 0 {
		return ""
	}
	return kinds[r.Kind-1]
}

// updateEvery is how often a standing finding may speak, s.
const updateEvery = dayS

// raise states a claim on a topic: new, changed in kind, or worth an update.
func (e *Engine) raise(t topic, at int64, c *claim, out []finding.Finding) []finding.Finding {
	r := &e.s.Found[t]
	if (t == aboutContact || t == aboutWiring) && e.s.Error.Known {
		c.severity = e.grade(c.severity, e.overLimit(e.expanded(float64(e.s.Copper.Temp[recent-1]))))
	}
	if t != aboutWork && t != aboutOpen && r.Kind != 0 && (c.leads&r.Leads != 0 || c.leads == r.Leads) {
		c.since = min(c.since, r.Since) // what scatters is near its baseline time and again
	}
	state, raised := finding.Updated, r.Raised // under another name it stands as long
	switch {
	case r.Kind == 0:
		state, raised = finding.Raised, at
	case r.kind() != c.kind:
		out = e.clear(t, at, "called "+string(c.kind)+" from now on", out)
		state = finding.Raised
	case c.severity > r.Severity || c.leads != r.Leads:
	case at-r.Updated < updateEvery, (at/blockS-r.Updated/blockS)%(dayS/blockS) != 0: // one block a day is asked
		return out
	}
	var o outlook
	switch t {
	case aboutContact:
		o = e.foresee(c.since, c.kind)
	case aboutInsulation:
		o = e.foreseeLeak()
	}
	if state == finding.Updated && c.severity == r.Severity && c.leads == r.Leads && !r.moved(c, &o) {
		return out
	}
	*r = record{Outlook: o, Kind: kindIndex(c.kind), Leads: c.leads, Channels: c.channels, Severity: c.severity, Since: c.since, Raised: raised, Updated: at, Contact: float32(c.contact), Sure: float32(c.sure)}
	return append(out, e.finding(r, state, c.evidence))
}

// What a reader would call a change of what stands: a seventh of the contact, or
// of the time that is left.
const changed = 1.0 / 7

// dueDays is the time left, in days, that is any day now.
const dueDays = 1

// moved tells whether a claim or its forecast says anything new.
func (r *record) moved(c *claim, o *outlook) bool {
	was, is := float64(r.Contact), c.contact
	if c.since > r.Since+blockS { // it happened again
		return true
	}
	if math.IsNaN(was) != math.IsNaN(is) || math.Abs(is-was) > changed*math.Abs(was) || o.State != r.Outlook.State {
		return true
	}
	passed := float64(o.At-r.Outlook.At) / dayS
	far := func(was, is float32) bool {
		if was <= dueDays && is <= dueDays { // any day, as it was yesterday
			return false
		}
		return math.Abs(float64(min(was, horizon))-passed-float64(min(is, horizon))) > changed*float64(is)
	}
	old := &r.Outlook
	return o.State == outlookDated && (o.Side != old.Side || far(old.P10, o.P10) || far(old.P50, o.P50) || far(old.P90, o.P90))
}

// clear ends what stands on a topic.
func (e *Engine) clear(t topic, at int64, why string, out []finding.Finding) []finding.Finding {
	r := &e.s.Found[t]
	if r.Kind == 0 {
		return out
	}
	out = append(out, e.finding(r, finding.Cleared, why))
	*r = record{}
	return out
}

// finding dresses a record.
func (e *Engine) finding(r *record, state finding.State, evidence string) finding.Finding {
	f := finding.Finding{
		Time: time.Unix(e.s.Last, 0).UTC(), Loop: e.m.spec.Tag, Kind: r.kind(), Leads: r.Leads, State: state, Severity: r.Severity,
		Since: time.Unix(r.Since, 0).UTC(), Contact: quantity.Ohm(float64(r.Contact)), Error: quantity.DeltaC(nan), U: quantity.DeltaC(nan),
		POverLimit: nan, Confidence: float64(r.Sure), Engine: Version, Evidence: evidence, Forecast: e.forecast(r),
	}
	if s := &e.s.Error; s.Known && !e.beyondLeads(r.kind()) {
		u := e.expanded(float64(e.s.Copper.Temp[recent-1]))
		f.Error, f.U, f.POverLimit = quantity.DeltaC(s.Last), quantity.DeltaC(u), e.overLimit(u)
		if f.Kind == finding.Imbalance { // it is about the worst 5 % of a day, not about the last hour
			f.POverLimit = uncertainty.PAbove(recentShare(s.worse()), float64(f.U)/e.tightLimit(), 1)
		}
	}
	return f
}

// beyondLeads tells whether a finding is about an error that the leads do not
// show: what they cause says nothing about it, so none is stated.
func (e *Engine) beyondLeads(k finding.Kind) bool {
	return k == finding.InsulationLeak || k == finding.ThermalEMF && e.fourWire()
}
