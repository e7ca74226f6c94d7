package web

import (
	"math"
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// part is a piece of a sentence; strong pieces carry the answer.
type part struct {
	Text   string
	Strong bool
}

// sentence builds parts: every other argument is strong.
func sentence(pieces ...string) (s []part) {
	for i, p := range pieces {
		if p != "" {
			s = append(s, part{p, i%2 == 1})
		}
	}
	return s
}

// say is what a person wants to know first: which lead, how much, since when,
// and what it does to the reading.
func say(l *Loop, now time.Time) []part {
	if l.Condition == diagnostics.FunctionCheck {
		return append(sentence("", "Somebody works here", ": nothing new is told of this loop until the function check ends. "), sayNow(l, now)...)
	}
	return sayNow(l, now)
}

// sayNow is say without a word on who works there.
func sayNow(l *Loop, now time.Time) []part {
	switch {
	case l.Values.At.IsZero() && l.Polled.IsZero():
		return sentence("This loop has ", "never been polled", ": nothing is known of it.")
	case l.Values.At.IsZero():
		return append(sentence("This loop has given ", "no value yet", ". "), wrong(l)...)
	case !live(&l.Row, now):
		return append(sentence("", "Not live", ": the last value came "+ago(now.Sub(l.Values.At))+". "), wrong(l)...)
	}
	s, e := cause(l, now), effect(&l.Row)
	if rest, ok := strings.CutPrefix(e[0].Text, "The "); ok && l.Standing != nil && swings(reason(l).Kind) {
		e[0].Text = "Just now the " + rest
	}
	return append(s, e...)
}

// swings reports whether a contact of that kind is good at one moment and bad at
// the next, so that the error of now is not the whole of it.
func swings(k finding.Kind) bool {
	return k == finding.LeadThermal || k == finding.LeadMoisture || k == finding.LeadIntermittent
}

func wrong(l *Loop) []part {
	if l.Problem == "" {
		return nil
	}
	if strings.HasSuffix(l.Problem, "?") {
		return sentence("Reason: " + l.Problem)
	}
	return sentence("Reason: " + strings.TrimRight(l.Problem, ". ") + ".")
}

func cause(l *Loop, now time.Time) []part {
	if l.Standing == nil {
		return sentence("Nothing stands on this loop. ")
	}
	f := reason(l)
	since := sinceWords(f, now, longOnset)
	lead := list(f.Leads.Names())
	switch {
	case lead == "":
	case f.Kind == finding.LeadThermal:
		return sentence("The contact of lead ", lead, " has been swinging with temperature"+since+". ")
	case f.Kind == finding.LeadMoisture:
		return sentence("The contact of lead ", lead, " has followed wet and dry"+since+". ")
	case f.Kind == finding.LeadIntermittent && quantity.Known(f.Contact):
		return sentence("The contact of lead ", lead, " has come and gone, by ", ohm(f.Contact)+" Ω", " at a time"+prefixed(",", since)+". ")
	case f.Kind == finding.ThermalEMF && quantity.Known(f.Contact):
		return sentence("A thermal voltage in lead ", lead, " has looked like ", signedOhm(f.Contact)+" Ω", since+". ")
	case f.Kind != finding.LeadLimit && quantity.Known(f.Contact) && f.Contact > 0:
		noun := "Lead "
		if len(f.Leads.Names()) > 1 {
			noun = "The worst of leads "
		}
		return sentence(noun, lead, " has gained ", ohm(f.Contact)+" Ω", " of contact resistance"+since+". ")
	}
	return sentence("", upperFirst(headline(f)), since+". ")
}

// reason is the finding that the sentence is about: the worst one, but for an
// error over its limit, which says what happens, the contact that says why.
func reason(l *Loop) *finding.Finding {
	if l.Standing.Kind == finding.Imbalance {
		return behind(l, l.Standing)
	}
	return l.Standing
}

// behind returns the finding of a contact that has grown, where one stands, else
// f itself.
func behind(l *Loop, f *finding.Finding) *finding.Finding {
	for i := range l.Findings {
		if g := &l.Findings[i]; g.Leads != 0 && g.Contact > 0 {
			return g
		}
	}
	return f
}

func upperFirst(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' && !leadName(s) {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}

// leadName reports whether s begins with the name of a lead, which is not
// capitalised.
func leadName(s string) bool {
	return len(s) > 1 && (s[0] == 'a' || s[0] == 'b') && (s[1] == '1' || s[1] == '2')
}

// effect says what the leads do to the reading.
func effect(r *Row) []part {
	e, u, from := counting(r)
	switch {
	case r.failed():
		return sentence("The reading is ", "not valid", " while this stands.")
	case !quantity.Known(e):
		return sentence("What the leads do to the reading cannot be seen on this transmitter.")
	case quantity.Known(u) && math.Abs(float64(e)) <= math.Abs(float64(u)):
		return sentence("The leads do ", "nothing to the reading", " that could be told from measurement uncertainty.")
	}
	way := "high"
	if e < 0 {
		way = "low"
	}
	if from == "since calibration" {
		way += " since its calibration"
	}
	size := fixed(math.Abs(float64(e)), decimalsFor(float64(u)))
	if r.Values.Over {
		return sentence("The loop reads ", size+" °C too "+way, ", ", "over its limit", ".")
	}
	return sentence("The loop reads ", size+" °C too "+way, ".")
}

// observability says in sentences what the transmitter shows of the leads and
// what nobody can know from here.
func observability(l *Loop) []string {
	s := l.Spec
	if s.Wires == 2 {
		return []string{"Two-wire: no lead can be told from the sensor. Trouble in a lead shows only as a step, noise or drift of the reading."}
	}
	switch s.Reports {
	case wiring.AllLeads:
		return []string{"This transmitter reports every lead by itself: a bad lead can be named. Which of its terminals it is cannot be seen from here."}
	case wiring.PairsOnly:
		return []string{"a1 cannot be told from the sensor on this transmitter: a bad contact in a1 looks like a change of temperature. b1 and b2 are seen by themselves."}
	case wiring.LoopsOnly:
		sums := "the sum b1 + b2"
		if s.Wires == 4 {
			sums = "the sums a1 + a2 and b1 + b2"
		}
		return []string{"This transmitter reports only " + sums + ": a bad pair can be seen, the bad lead in it cannot be named."}
	}
	return []string{"This transmitter reports only its reading: no lead can be seen. Trouble in a lead shows only as a step, noise or drift of the reading."}
}

// where says at which terminals to look, in words.
func where(l *Loop, bad finding.LeadSet) string {
	if bad == 0 || l.Standing == nil {
		return ""
	}
	n := 0
	for _, t := range l.Terminals {
		if suspect(l, t.Enclosure, t.Lead, bad) {
			n++
		}
	}
	leads, what := list(bad.Names()), culprit(l.Standing.Kind)
	switch {
	case n == 0:
		return "The terminals of " + leads + " are not listed in the plant, so none can be marked."
	case l.Standing.Box != "":
		return "The loops that go bad together meet in " + l.Standing.Box + ": look there first, at what is marked of " + leads + "."
	case l.Standing.Kind == finding.NotFourWire:
		return "Look for a jumper, or two leads under one terminal, at the marked terminals of " + leads + ". Begin at the transmitter."
	case l.Standing.Kind == finding.LeadsSwapped:
		return "Compare the marked terminals of " + leads + " with the wiring diagram."
	case n == 1:
		return what + " is at the marked terminal of " + leads + " or in the conductor."
	}
	return what + " is at one or more of the " + strconv.Itoa(n) + " marked terminals of " + leads + ", or in the conductor. Which one cannot be seen from here."
}

// culprit is what has to be found at the terminals.
func culprit(k finding.Kind) string {
	switch k {
	case finding.LeadOpen:
		return "The break"
	case finding.LeadShort:
		return "The short"
	case finding.ThermalEMF:
		return "The joint of two metals"
	}
	return "The extra resistance"
}
